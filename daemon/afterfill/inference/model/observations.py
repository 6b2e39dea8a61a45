"""What is observed, a channel each: what a particle expects of it, and the likelihood.

Likelihoods have heavy tails, so one odd reading cannot decide. They are tempered: readings nearer
together than their errors are correlated count for less.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from afterfill.inference.filter.resampling import LEAST_WEIGHT, reweighted
from afterfill.inference.filter.streams import Array, log_normal
from afterfill.inference.model import disturbance, electrode, priors
from afterfill.inference.model.hypotheses import NEVER_POURS
from afterfill.inference.model.particles import (
    BACKGROUND_MV,
    BACKGROUND_VAR,
    IN_C,
    IN_PH,
    PH_SLOPE_MV,
    POURED,
    RESPONSE_MV,
    START_S,
    Particles,
)

_T_NORM = 0.375  # of Student's t with four degrees of freedom: its density is 3/8 at the middle
_STEP_EARLY_S = 900.0  # in which most pours show; our judgement
_TREND_S = 5400.0  # for how long a room's or heater's course goes straight on; our judgement
_UNKNOWN_PH_MV = 5.0  # of the ORP where the pH is not known; our judgement


class Moment(NamedTuple):
    """When an observation is made: `at_s` [s] after the episode's zero, `step_s` [s] after the one
    before it; `announced`: the refill was logged or reported."""

    at_s: float
    step_s: float
    announced: bool


def expected_orp_mv(particles: Particles, at_s: float) -> Array:
    """What each particle adds to its background at `at_s` [mV], but for the pH."""
    moved = disturbance.moved_mv(particles.parameters, at_s) - electrode.artefact_mv(particles)
    return np.asarray(particles.state[RESPONSE_MV] + moved)


def grown_variance(particles: Particles, step_s: float) -> Array:
    """How uncertain each particle's background [mV^2] is `step_s` [s] later."""
    grown = priors.WANDER_MV_PER_SQRT_H**2 * step_s / 3600.0
    return np.asarray(particles.state[BACKGROUND_VAR] + grown)


@dataclass(frozen=True, slots=True)
class Orp:
    """The electrode. `noise_mv`: learnt noise of a reading; `ph`: the tank's, None unknown."""

    noise_mv: float
    ph: float | None

    def update(
        self, particles: Particles, orp_mv: float, moment: Moment
    ) -> tuple[Particles, float]:
        """The particles after a reading [mV], and by how much it lay above what they together
        expected [mV]. The background of each is tracked exactly beside it (Rao-Blackwellised: a
        scalar Kalman update given all else)."""
        state, theta = particles.state, particles.parameters
        signal = expected_orp_mv(particles, moment.at_s)
        by_ph = 0.0 if self.ph is None else self.ph - electrode.PH_REFERENCE
        innovation = orp_mv - state[BACKGROUND_MV] - signal - theta[PH_SLOPE_MV] * by_ph
        unknown_mv = _UNKNOWN_PH_MV if self.ph is None else 0.0
        model = priors.MODEL_ERROR_MV + priors.MODEL_ERROR * np.abs(signal) + unknown_mv
        exponent = tempering(moment)
        noise, variance = self.noise_mv**2 + model * model, grown_variance(particles, moment.step_s)
        spread = variance + noise
        square = innovation * innovation / (priors.TAIL_NU * spread)
        robust = (1.0 + 1.0 / priors.TAIL_NU) / (1.0 + square)
        gain = variance / (variance + noise / (exponent * robust))
        log_t = -0.5 * np.log(spread) - 0.5 * (priors.TAIL_NU + 1.0) * np.log1p(square)
        after = state.copy()
        after[BACKGROUND_MV] += gain * innovation
        after[BACKGROUND_VAR] = variance * (1.0 - gain)
        weights = reweighted(particles.weights, exponent * log_t)
        above_mv = float(particles.weights @ innovation)
        return Particles(theta, after, weights, particles.sizes), above_mv


def unseen(particles: Particles, step_s: float) -> Particles:
    """The particles after `step_s` [s] without an ORP to hold their background."""
    return particles.with_rows(state={BACKGROUND_VAR: grown_variance(particles, step_s)})


def as_read(residual_mg_l: Array) -> Array:
    """A residual (n,) that was read from the electrode's law, as wide as the law's own doubt: it is
    only a shape, and particles differ in its figures alone."""
    return np.asarray(residual_mg_l * _law_off(residual_mg_l.size))


@lru_cache(maxsize=4)
def _law_off(n: int) -> Array:
    off = log_normal(n, "law", 1.0, priors.LAW_SIGMA)
    off.setflags(write=False)
    return off


def tempering(moment: Moment) -> float:
    """The exponent of an ORP reading's likelihood: what share of an independent reading it is. The
    longer after the pour, the more the electrode's memory and the law's error rule, which readings
    do not average away."""
    return min(1.0, moment.step_s / correlated_s(moment.at_s))


def correlated_s(at_s: float) -> float:
    """How far apart two ORP readings must be to be independent [s], `at_s` [s] after the episode's
    zero."""
    late_s = max(at_s - priors.EARLY_S, 0.0)
    return priors.CORRELATED_S + priors.CORRELATED_GROWTH * late_s


@dataclass(frozen=True, slots=True)
class WaterStep:
    """A quantity of the water that moves from the tank's towards the source's with the share that
    is poured: it tells how much water came, and for a suspected refill whether any did; never
    whether that water was treated. Standard deviations in its unit: of a step `step_sd`, of drift
    `drift_sd` per root hour, of the step itself the share `share_sd`; anything within `span` is
    possible now and then; `recovers_s`: in which the tank brings it back (0: not at all);
    `trend_per_h`: how it moves by itself."""

    incoming: int
    before: float
    step_sd: float
    drift_sd: float
    share_sd: float
    span: float
    correlated_s: float
    recovers_s: float = 0.0
    trend_per_h: float = 0.0

    def update(self, particles: Particles, value: float, moment: Moment) -> Particles:
        """The particles after a look at how far the quantity has moved since before the pour."""
        expected = self._expected(particles, moment.at_s)
        drift = self.drift_sd**2 * max(moment.at_s, 0.0) / 3600.0
        spread = self.step_sd**2 + drift + np.square(self.share_sd * expected)
        by_itself = self.trend_per_h * min(max(moment.at_s, 0.0), _TREND_S) / 3600.0
        off = value - self.before - by_itself - expected
        square = off * off / (priors.TAIL_NU * spread)
        fits = _T_NORM / np.sqrt(spread) * (1.0 + square) ** (-0.5 * (priors.TAIL_NU + 1.0))
        outliers = priors.STEP_OUTLIERS
        late_s = max(moment.at_s - _STEP_EARLY_S, 0.0)  # a drift does not average away
        apart_s = self.correlated_s + priors.CORRELATED_GROWTH * late_s
        exponent = min(moment.step_s / apart_s, 1.0)
        growth = ((1.0 - outliers) * fits + outliers / self.span) ** exponent
        return particles.with_weights(_grown_alike(particles, growth, moment.announced))

    def _expected(self, particles: Particles, at_s: float) -> Array:
        theta = particles.parameters
        step = particles.state[POURED] * (theta[self.incoming] - self.before)
        if not self.recovers_s:
            return np.asarray(step)
        since = np.maximum(at_s - theta[START_S], 0.0)
        return np.asarray(step * np.exp(-since / self.recovers_s))


def temperature(before_c: float, trend_k_per_h: float = 0.0) -> WaterStep:
    """The tank's temperature [degrees C], `before_c` before the pour, when room or heater moved it
    by `trend_k_per_h`; figures: our judgement."""
    return WaterStep(
        IN_C, before_c, 0.15, 0.3, 0.12, 8.0, 150.0, recovers_s=5400.0, trend_per_h=trend_k_per_h
    )


def acidity(before_ph: float) -> WaterStep:
    """The tank's pH, taken as if it mixed like a concentration: its buffers are not known, and its
    spread allows for that; figures: our judgement."""
    return WaterStep(IN_PH, before_ph, 0.04, 0.08, 0.25, 2.0, 400.0)


def _grown_alike(particles: Particles, growth: Array, announced: bool) -> Array:
    """The weights after `growth` (n,), so shared that each hypothesis that pours gains as much as
    these together; where water was announced, all do."""
    weights, grown = particles.weights, particles.weights * growth
    groups = particles.groups
    pours = [n for n in range(len(groups)) if announced or n not in NEVER_POURS]
    totals = [float(weights[rows].sum()) for rows in groups]
    gains = [float(grown[rows].sum()) for rows in groups]
    together = sum(gains[n] for n in pours) / max(sum(totals[n] for n in pours), LEAST_WEIGHT)
    for number in pours:
        grown[groups[number]] *= together * totals[number] / max(gains[number], LEAST_WEIGHT)
    return np.asarray(np.maximum(grown / grown.sum(), LEAST_WEIGHT))


@dataclass(frozen=True, slots=True)
class ChlorineKit:
    """A chlorine test of `of` (n,): what each particle holds of what it measures [mg/L as Cl2]."""

    of: Array

    def update(self, particles: Particles, kit_mg_l: float) -> Particles:
        """The particles after a test. A few in a hundred read anything below the truth, fewer what
        is no chlorine at all."""
        spread = priors.KIT_FLOOR_MG_L**2 + (priors.KIT_SHARE * self.of) ** 2
        fits = np.exp(_log_t(kit_mg_l - self.of, spread)) * _T_NORM
        below = priors.KIT_LOW_SHARE / np.maximum(self.of, priors.KIT_FLOOR_MG_L)
        low = np.where(kit_mg_l < self.of, below, 0.0)
        high = priors.KIT_HIGH_SHARE / priors.KIT_HIGH_MG_L
        right = 1.0 - priors.KIT_LOW_SHARE - priors.KIT_HIGH_SHARE
        log_likelihood = np.log(right * fits + low + high)
        return particles.with_weights(reweighted(particles.weights, log_likelihood))


def _log_t(innovation: Array, spread: Array) -> Array:
    nu = priors.TAIL_NU
    tail = np.log1p(innovation**2 / (nu * spread))
    return np.asarray(-0.5 * np.log(spread) - 0.5 * (nu + 1.0) * tail)
