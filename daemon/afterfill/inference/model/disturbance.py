"""What moves an ORP without any oxidant: by how much, how fast, and when.

Feeding, light and cleaning come in minutes and move it by 5-30 mV; a hand or the air moves it by
more, at once; a surface that was dry comes up to its level. `DISTURBANCE_MOST_MV` bounds each: a
copy of a particle must not explain a rise by a disturbance larger than such a one is.
"""

import numpy as np
from numpy.typing import NDArray

from afterfill.inference.filter.streams import Array, log_normal, normal, uniform
from afterfill.inference.model import priors
from afterfill.inference.model.particles import (
    DISTURBANCE_FALL_S,
    DISTURBANCE_MOST_MV,
    DISTURBANCE_MV,
    DISTURBANCE_RISE_S,
    DISTURBANCE_START_S,
)

_AROUND_SHARE = 0.7  # of the disturbances of an announced refill; our judgement
_WET_AT_ONCE_S = 10.0


def share(parameters: Array, at_s: float) -> Array:
    """What part of its height each particle's disturbance has at `at_s` [s after the episode's
    zero]: it comes in minutes and goes in an hour or so."""
    since = np.maximum(at_s - parameters[DISTURBANCE_START_S], 0.0)
    gone = np.exp(-since / parameters[DISTURBANCE_RISE_S])
    return np.asarray((1.0 - gone) * np.exp(-since / parameters[DISTURBANCE_FALL_S]))


def moved_mv(parameters: Array, at_s: float) -> Array:
    """By how much each particle's disturbance moves the ORP at `at_s` [mV]."""
    return np.asarray(parameters[DISTURBANCE_MV] * share(parameters, at_s))


def of_a_refill(n: int, starts_s: Array) -> dict[int, Array]:
    """What a refill itself does to a probe, from `starts_s` (n,) on [s]: flow, pump, light."""
    return {
        DISTURBANCE_MV: priors.NUISANCE_MV * normal(n, "disturbance height"),
        DISTURBANCE_START_S: starts_s,
        DISTURBANCE_RISE_S: _slow_rises_s(n),
        DISTURBANCE_FALL_S: falls_s(n),
        DISTURBANCE_MOST_MV: np.full(n, priors.DISTURBED_MV),
    }


def of_other_work(n: int, starts_s: Array, *, announced: bool) -> dict[int, Array]:
    """Feeding, cleaning, light and hands: around an announced refill, or at any time while it is
    watched; what raised a suspicion comes at `starts_s` (n,) [s]."""
    by_hand = uniform(n, "disturbance by hand") < priors.BY_HAND_SHARE
    hand_mv = priors.BY_HAND_MV * normal(n, "disturbance height")
    at_once_s = 60.0 * log_normal(
        n, "disturbance rise", priors.BY_HAND_RISE_MIN, priors.BY_HAND_RISE_SIGMA
    )
    return {
        DISTURBANCE_MV: np.where(by_hand, hand_mv, _triangular(n, priors.DISTURBED_MV)),
        DISTURBANCE_START_S: _around_s(n) if announced else starts_s,
        DISTURBANCE_RISE_S: np.where(by_hand, at_once_s, _slow_rises_s(n)),
        DISTURBANCE_FALL_S: falls_s(n),
        DISTURBANCE_MOST_MV: np.where(by_hand, np.inf, priors.DISTURBED_MV),
    }


def _triangular(n: int, most: float) -> Array:
    """Draws from the triangular distribution between `-most` and `most`."""
    u = uniform(n, "disturbance height")
    off = most * (1.0 - np.sqrt(2.0 * np.minimum(u, 1.0 - u)))
    return np.where(u < 0.5, -off, off)


def _slow_rises_s(n: int) -> Array:
    slowly = log_normal(n, "disturbance rise", priors.NUISANCE_RISE_MIN, priors.NUISANCE_RISE_SIGMA)
    return np.asarray(60.0 * np.maximum(slowly, priors.AT_ONCE_S / 60.0))


def falls_s(n: int) -> Array:
    """Draws of the time [s] in which a disturbance goes."""
    return 60.0 * log_normal(
        n, "disturbance fall", priors.NUISANCE_FALL_MIN, priors.NUISANCE_FALL_SIGMA
    )


def _around_s(n: int) -> Array:
    around_s = -300.0 + 3000.0 * uniform(n, "disturbance near the pour")
    later_s = 2700.0 + 6300.0 * uniform(n, "disturbance near the pour")
    return np.where(uniform(n, "disturbance when") < _AROUND_SHARE, around_s, later_s)


def wetted(parameters: Array, back_s: float, is_disturbance: NDArray[np.bool_]) -> Array:
    """The parameters of a probe that came back into the water at `back_s` [s after the episode's
    zero]: its surface begins below its level, and comes up to it within the hour. Half of the
    disturbances (where `is_disturbance`, (n,)) are what they were."""
    n = parameters.shape[1]
    wet = ~is_disturbance | (uniform(n, "wetted") < 0.5)
    below_mv = -np.abs(normal(n, "wetted depth")) * priors.WET_MV
    deep_mv = np.where(is_disturbance, parameters[DISTURBANCE_MV] + 0.5 * below_mv, below_mv)
    fall_s = 60.0 * log_normal(n, "wetted time", priors.WET_MIN, priors.WET_SIGMA)
    after = parameters.copy()
    for row, values in (
        (DISTURBANCE_MV, deep_mv), (DISTURBANCE_START_S, np.full(n, back_s)),
        (DISTURBANCE_RISE_S, np.full(n, _WET_AT_ONCE_S)), (DISTURBANCE_FALL_S, fall_s),
        (DISTURBANCE_MOST_MV, np.full(n, np.inf)),
    ):  # fmt: skip
        after[row] = np.where(wet, values, parameters[row])
    return after
