"""Neutraliser that went into the tank itself: remembered, because the water may come after it, or
be told of later."""

import math

import numpy as np

from afterfill.inference.filter.streams import Array, log_normal
from afterfill.inference.history import KEEP_S
from afterfill.inference.model import priors

_STRENGTH = "dose strength"  # the same bottle that the refill was dosed from


def none() -> Array:
    """No doses. Columns: time [s], neutraliser [mg/L as Cl2 of the tank's full volume]."""
    return np.empty((0, 2))


def appended(doses: Array, time_s: float, mg_l: float) -> Array:
    """With one more, and without those that no watch can ask for any more."""
    kept = doses[doses[:, 0] >= time_s - 2.0 * KEEP_S]
    return np.vstack((kept, [[time_s, mg_l]]))


def left_mg_l(doses: Array, time_s: float) -> float:
    """What is left at `time_s` [s] of all that went in by then [mg/L as Cl2]."""
    before = doses[doses[:, 0] <= time_s]
    pace_per_s = priors.K_SURPLUS_PER_H / 3600.0
    return float(sum(mg_l * math.exp(-pace_per_s * (time_s - at_s)) for at_s, mg_l in before))


def between_mg_l(doses: Array, from_s: float, to_s: float) -> float:
    """What went in with ``from_s < time <= to_s`` [mg/L as Cl2]."""
    inside = (doses[:, 0] > from_s) & (doses[:, 0] <= to_s)
    return float(np.sum(doses[inside, 1]))


def as_believed(mg_l: float, n: int) -> Array:
    """A dose as each of `n` particles takes its strength to be [mg/L as Cl2]."""
    return log_normal(n, _STRENGTH, mg_l, priors.STRENGTH_SIGMA)
