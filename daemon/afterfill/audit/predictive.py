"""Where a kit's value stands in what was said of it: the probability integral transform.

What was said are three points. Each side of the median is taken to be like a normal one that has
them, cut off at zero. The kit's error is added, and rounding gives an interval in place of a value:
from the probability of less than was shown to that of no more than was shown.
"""

from statistics import NormalDist
from typing import NamedTuple

import numpy as np

from afterfill.audit.kits import Kit
from afterfill.inference.filter.streams import Array
from afterfill.records import Quantiles

_N = 400
_Z = np.array([NormalDist().inv_cdf((n + 0.5) / _N) for n in range(_N)])
_Z95 = NormalDist().inv_cdf(0.95)
SCALES = (0.0, 0.5, 1.0)  # of the kit's errors: how good a keeper's kit is, is not known


class Span(NamedTuple):
    """Probabilities, 0 to 1: of a lower value, and of none higher."""

    below: float
    up_to: float


def believed(said: Quantiles) -> Array:
    """Values that are equally likely by what was said, in order."""
    side = np.where(_Z < 0.0, said.q50 - said.q05, said.q95 - said.q50)
    return np.asarray(np.maximum(said.q50 + side / _Z95 * _Z, 0.0))


def standing(said: Quantiles, shown_mg_l: float, kit: Kit, scale: float = 1.0) -> Span:
    """Where `shown_mg_l` stands in what was said. What is less than a step of the kit may be
    nothing, so it stands at the lower end."""
    values, half = believed(said), kit.half_step_mg_l
    up_to = float(np.mean(kit.p_at_most(shown_mg_l + half, values, scale)))
    if shown_mg_l <= half:
        return Span(0.0, up_to)
    return Span(float(np.mean(kit.p_at_most(shown_mg_l - half, values, scale))), up_to)


def standings(said: Quantiles, shown_mg_l: float, kit: Kit) -> tuple[Span, ...]:
    """The same for each of SCALES."""
    return tuple(standing(said, shown_mg_l, kit, scale) for scale in SCALES)
