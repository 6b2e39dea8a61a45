"""What moves an ORP without any oxidant: by how much, how fast, and when.

Feeding, light and cleaning come in minutes and move it by 5-30 mV; a hand or the air moves it by
more, at once; a surface that was dry comes up to its level. Draws are one for each member.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from afterfill.inference import prior
from afterfill.inference.bank import DISTURBANCE, KIND, Traits
from afterfill.inference.draws import Array, log_normal, normal, uniform

_N = KIND.size
_AROUND_SHARE = 0.7  # of the disturbances of an announced refill; our judgement
_WET_AT_ONCE_S = 10.0


def share(traits: Traits, at_s: float) -> Array:
    """What part of its height a member's disturbance has at `at_s` [s after the watch's zero]: it
    comes in minutes and goes in an hour or so."""
    since = np.maximum(at_s - traits.nuisance_start_s, 0.0)
    gone = np.exp(-since / traits.nuisance_rise_s)
    return np.asarray((1.0 - gone) * np.exp(-since / traits.nuisance_fall_s))


def highest_mv(traits: Traits) -> Array:
    """How high a member's disturbance may be [mV]: what comes in minutes so far as feeding, light
    and cleaning go, what comes at once anywhere."""
    slow = traits.nuisance_rise_s >= prior.AT_ONCE_S
    return np.where(slow, prior.DISTURBED_MV, np.inf)


def heights_mv() -> Array:
    """Draws of the height [mV]. With the other kinds it is what the refill itself does."""
    z = normal(_N, 23)
    disturbed = np.where(_by_hand(), prior.BY_HAND_MV * z, _triangular(prior.DISTURBED_MV))
    return np.where(KIND == DISTURBANCE, disturbed, prior.NUISANCE_MV * z)


def _by_hand() -> NDArray[np.bool_]:
    """Which disturbances are a hand or the air: they move the ORP by much, and at once."""
    return np.asarray((KIND == DISTURBANCE) & (uniform(_N, 22) < prior.BY_HAND_SHARE))


def _triangular(most: float) -> Array:
    """Draws from the triangular distribution between `-most` and `most`."""
    u = uniform(_N, 23)
    off = most * (1.0 - np.sqrt(2.0 * np.minimum(u, 1.0 - u)))
    return np.where(u < 0.5, -off, off)


def rises_s() -> Array:
    """Draws of the time [s] in which it comes."""
    at_once = log_normal(_N, 11, prior.BY_HAND_RISE_MIN, prior.BY_HAND_RISE_SIGMA)
    slowly = log_normal(_N, 11, prior.NUISANCE_RISE_MIN, prior.NUISANCE_RISE_SIGMA)
    return 60.0 * np.where(_by_hand(), at_once, np.maximum(slowly, prior.AT_ONCE_S / 60.0))


def falls_s() -> Array:
    """Draws of the time [s] in which it goes."""
    return 60.0 * log_normal(_N, 12, prior.NUISANCE_FALL_MIN, prior.NUISANCE_FALL_SIGMA)


def starts_s(pours_s: Array, *, announced: bool) -> Array:
    """Draws of when it begins [s after the watch's zero]. What a refill does to a probe comes with
    it, from `pours_s` on; other work on the tank around an announced one, or at any time while
    it is watched."""
    if not announced:
        return pours_s
    around_s, later_s = -300.0 + 3000.0 * uniform(_N, 24), 2700.0 + 6300.0 * uniform(_N, 24)
    other_s = np.where(uniform(_N, 29) < _AROUND_SHARE, around_s, later_s)
    return np.where(KIND == DISTURBANCE, other_s, pours_s)


def wetted(traits: Traits, back_s: float) -> Traits:
    """Traits of a probe that came back into the water at `back_s` [s after the watch's zero]: its
    surface begins below its level, and comes up to it within the hour. Half of the disturbances
    are what they were."""
    wet = (KIND != DISTURBANCE) | (uniform(_N, 28) < 0.5)
    below_mv = -np.abs(normal(_N, 27)) * prior.WET_MV
    below_mv = np.where(KIND == DISTURBANCE, traits.nuisance_mv + 0.5 * below_mv, below_mv)
    fall_s = 60.0 * log_normal(_N, 35, prior.WET_MIN, prior.WET_SIGMA)
    return replace(
        traits,
        nuisance_mv=np.where(wet, below_mv, traits.nuisance_mv),
        nuisance_start_s=np.where(wet, back_s, traits.nuisance_start_s),
        nuisance_rise_s=np.where(wet, _WET_AT_ONCE_S, traits.nuisance_rise_s),
        nuisance_fall_s=np.where(wet, fall_s, traits.nuisance_fall_s),
    )
