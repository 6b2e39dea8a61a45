"""How much of a filter's work chlorine leaves: it is made against bacteria."""

import math

import numpy as np

from afterfill.inference.ammonia import N
from afterfill.inference.filter.streams import Array, uniform
from afterfill.inference.model.particles import PEAK
from afterfill.inference.monitor.thinning import met
from afterfill.inference.monitor.watch import Watch

_HALF_MG_L = 0.5  # at which up to half of the work is lost; our judgement
_RECOVERS_S = 86_400.0  # nothing published was found for a fish tank's filter: our judgement


def working_share(holding: Watch | None, time_s: float) -> Array | None:
    """The share of its usual pace at which each member's filter works, shape (64,); None where
    nothing is known to be in the way."""
    if holding is None:
        return None
    index = met(holding.particles, N)
    faded = math.exp(-max(time_s - holding.zero_s, 0.0) / _RECOVERS_S)
    harm = np.maximum(holding.particles.residual, faded * holding.particles.state[PEAK])[index]
    return np.asarray(1.0 - uniform(N, "filter harm") * harm / (harm + _HALF_MG_L))
