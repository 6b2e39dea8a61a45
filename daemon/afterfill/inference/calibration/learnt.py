"""What has been learnt of one probe, and how carefully.

The response (b, C0, weight of combined chlorine, lags) is learnt only from refills whose truth
became known by a chlorine test that showed some; each such refill moves a mean by at most one
standard deviation and narrows it by at most two fifths, so one mistaken test cannot teach much.
The pH slope is learnt from quiet hours. A serviced, calibrated or exchanged probe is a new one.
"""

import math
from dataclasses import dataclass, field, replace

import numpy as np

from afterfill.inference.filter.streams import Array, normal
from afterfill.inference.model import priors
from afterfill.inference.model.particles import (
    ANSWER,
    B_MV,
    C0_MG_L,
    FALL_S,
    RISE_S,
    W_COMBINED,
    Particles,
)

PARAMETERS = ("b_mv", "c0_mg_l", "w_combined", "rise_s", "fall_s")
_ROWS = [B_MV, C0_MG_L, W_COMBINED, RISE_S, FALL_S]
_OF_COMBINED = np.array(_ROWS)[:, None] == W_COMBINED
_NARROWS_TO = 0.6  # our judgement: one mistaken test must not teach much
_HOUR_S, _LONGEST_S = 3600.0, 5400.0
_LEAST_PH_STEP = 0.02  # two steps of a common pH probe
_HOURLY_NOISE_MV = 2.5  # how far a quiet ORP wanders in an hour, feeding included: judgement
_LEAST_SLOPE_SD = 3.0


def _prior_mean() -> Array:
    medians = (
        priors.B_MV, priors.C0_MG_L, priors.W_COMBINED, 60.0 * priors.RISE_MIN,
        60.0 * priors.FALL_MIN,
    )  # fmt: skip
    return np.asarray(np.log(np.array(medians)))


def _prior_sd() -> Array:
    return np.array(
        (
            priors.B_SIGMA, priors.C0_SIGMA, priors.W_COMBINED_SIGMA, priors.RISE_SIGMA,
            priors.FALL_SIGMA,
        )
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Learnt:
    """`mean`, `sd`: of the natural logarithm of each of PARAMETERS, shape (5,); `refills`: how many
    taught it; the pH slope in mV per pH; `anchor_*`: the last quiet hour's mark."""

    mean: Array = field(default_factory=_prior_mean)
    sd: Array = field(default_factory=_prior_sd)
    refills: int = 0
    ph_slope_mv: float = priors.PH_SLOPE_MV
    ph_slope_sd: float = priors.PH_SLOPE_SD
    anchor_s: float = -1.0e12  # long ago: no mark yet
    anchor_mv: float = 0.0
    anchor_ph: float = 0.0


def drawn(learnt: Learnt, n: int, name: str) -> Array:
    """`n` draws of one of PARAMETERS, as believed of this probe."""
    place = PARAMETERS.index(name)
    spread = learnt.sd[place] * normal(n, name)
    return np.asarray(np.exp(learnt.mean[place] + spread))


def updated(learnt: Learnt, particles: Particles) -> Learnt:
    """After a refill whose truth became known by a test: the particles' posterior, but
    carefully."""
    weights = particles.weights
    answered = np.where(_OF_COMBINED, particles.parameters[ANSWER], 1.0)
    logs = np.log(particles.parameters[_ROWS] * answered)
    mean = logs @ weights
    sd = np.sqrt(np.maximum((logs - mean[:, None]) ** 2 @ weights, 0.0))
    moved = np.clip(mean - learnt.mean, -learnt.sd, learnt.sd)
    narrowed = np.clip(sd, _NARROWS_TO * learnt.sd, learnt.sd)
    return replace(learnt, mean=learnt.mean + moved, sd=narrowed, refills=learnt.refills + 1)


def in_quiet(learnt: Learnt, orp_mv: float, ph: float | None, time_s: float) -> Learnt:
    """After a quiet reading: once an hour the step of ORP over the step of pH."""
    if ph is None:
        return learnt
    since_s = time_s - learnt.anchor_s
    if since_s < _HOUR_S:
        return learnt
    anchored = replace(learnt, anchor_s=time_s, anchor_mv=orp_mv, anchor_ph=ph)
    ph_step = ph - learnt.anchor_ph
    if since_s > _LONGEST_S or abs(ph_step) < _LEAST_PH_STEP:
        return anchored
    return _slope_moved(anchored, orp_mv - learnt.anchor_mv, ph_step)


def _slope_moved(learnt: Learnt, orp_step_mv: float, ph_step: float) -> Learnt:
    """One step of a scalar Kalman filter, its surprise bounded at three deviations."""
    variance = learnt.ph_slope_sd**2
    spread = ph_step**2 * variance + _HOURLY_NOISE_MV**2
    bound = 3.0 * math.sqrt(spread)
    surprise = max(-bound, min(bound, orp_step_mv - learnt.ph_slope_mv * ph_step))
    gain = variance * ph_step / spread
    slope = learnt.ph_slope_mv + gain * surprise
    sd = math.sqrt(variance * (1.0 - gain * ph_step))
    return replace(
        learnt,
        ph_slope_mv=max(-70.0, min(0.0, slope)),
        ph_slope_sd=max(sd, _LEAST_SLOPE_SD),
    )
