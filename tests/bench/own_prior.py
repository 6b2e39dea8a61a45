"""Tanks drawn from the filter's own prior: what simulation-based calibration needs for a truth.

Truth: one particle of the filter's own prior, given what the fold believed four minutes before an
announced pour (level, noise, ammonia, what is learnt), drawn by an independent generator in place
of the fixed Latin hypercube. Its water and electrode then move by the filter's own laws.

What no generator can do exactly, and what is done instead:

- Likelihoods are tempered: a reading counts for `step / correlated_s` of an independent one. Here
  errors follow an Ornstein-Uhlenbeck course of just so many independent ones an hour, mapped to
  Student's t of four degrees of freedom (a Gaussian copula). Their size is what the filter takes it
  for, at the signal of the moment, but for its doubt of the background.
- `as_read` widens a residual by the law's doubt, of which particles know nothing: the truth's
  residual is multiplied by one draw of it for each story, its peak is not, as in the verdict.
- Temperature and pH have the drift that the filter allows for, for the hour in which it looks at
  them, but none of its outliers: a leap of a probe is a fault, which the fold keeps away.
- Suspected pours begin by what readings did, which no prior draw can do: all pours are announced.
"""

import math
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from statistics import NormalDist
from unittest.mock import patch

import numpy as np

from afterfill.inference import words
from afterfill.inference.belief import Belief
from afterfill.inference.conditions import binding_at, hocl_at
from afterfill.inference.filter import streams
from afterfill.inference.filter.streams import Array
from afterfill.inference.model import observations, priors
from afterfill.inference.model.electrode import PH_REFERENCE, lagged
from afterfill.inference.model.observations import WaterStep, correlated_s, expected_orp_mv
from afterfill.inference.model.particles import (
    BACKGROUND_MV,
    BACKGROUND_VAR,
    PEAK,
    PH_SLOPE_MV,
    POURED,
    START_S,
    Particles,
)
from afterfill.inference.model.transition import predicted
from afterfill.inference.monitor.baseline import noise_of
from afterfill.inference.monitor.channels import Channel
from afterfill.inference.monitor.watch import Watch
from afterfill.inference.setup import Setup, Water
from afterfill.records import Input, Quantity, Reading, Refill
from afterfill.records.words import Disinfectant
from afterfill.tank import TankState, folded
from afterfill.tank_refills import pour_of
from afterfill.tank_setup import TankSetup
from bench.drawing import between, chance, log_between
from bench.story import MG_CL2_PER_ML, ZERO_S

POUR_S = 5400.0  # since the story's begin
_EARLY_S = 240.0  # water of an announced pour may come so long before its word
_QUIET_MV, _QUIET_PH, _QUIET_K = 1.0, 0.006, 0.02
_DRIFTS_S = 3600.0
_NORMAL = NormalDist()


@dataclass
class Asked:
    """A tank and the refill that is announced there; how it stands before: pH, degrees C, mV."""

    setup: TankSetup
    refill: Refill
    every_s: float
    ph: float
    temperature_c: float
    orp_mv: float


@dataclass
class Drawn:
    """A tank of the filter's prior: what its probes show from the pour's early minutes on, and
    `true`, a row each reading: time [s, Unix], residual and peak [mg/L as Cl2]. `state`: the fold
    after the quiet before. `law_off`: by what the residual is off the law."""

    asked: Asked
    state: TankState
    inputs: list[Input]
    true: Array
    law_off: float

    def at(self, time_s: float) -> tuple[float, float]:
        """The true residual and peak [mg/L as Cl2] at `time_s` [s], a reading's time."""
        row = self.true[max(int(np.searchsorted(self.true[:, 0], time_s + 0.001)) - 1, 0)]
        return float(row[1]) * self.law_off, float(row[2])


def drawn(seed: int, hours: float) -> Drawn:
    """The tank of a seed, followed for `hours` [h] after the pour."""
    random = np.random.default_rng([7_000_000, seed])
    asked = _asked(random)
    state = _after_quiet(asked, random)
    early_s = asked.refill.time_s - _EARLY_S
    inference, pour = asked.setup.inference, pour_of(asked.setup, asked.refill)
    with independent_draws(random):
        watch = words.poured(inference, state.belief, pour, early_s).watch
    assert watch is not None
    truth = _one_of(watch.particles, random)
    noise_mv = noise_of(state.belief.baseline)
    inputs, true = _Probed(asked, watch, truth, noise_mv, random).lived(hours)
    law_off = math.exp(priors.LAW_SIGMA * float(random.standard_normal()))
    return Drawn(asked, state, sorted([*inputs, asked.refill], key=_time_s), true, law_off)


def _time_s(record: Input) -> float:
    return record.time_s


_KINDS: tuple[Disinfectant, ...] = ("chlorine", "chloramine", "unknown")


def _asked(random: np.random.Generator) -> Asked:
    litres, share = between(random, 40, 400), log_between(random, 0.03, 0.5)
    residual_mg_l = log_between(random, 0.5, 4.0)
    kind = _KINDS[int(random.choice(3, p=[0.5, 0.35, 0.15]))]
    water = Water(kind, residual_mg_l, 1.5 * residual_mg_l + 0.1)
    every_s = float(random.choice([20.0, 30.0]))
    probes: tuple[Quantity, ...] = ("orp", "ph", "temperature")
    setup = TankSetup(
        Setup("t", litres, 0.02, water, MG_CL2_PER_ML), {}, 0.02, dict.fromkeys(probes, every_s)
    )
    ratio = (None, 0.0, between(random, 1.0, 2.0))[int(random.choice(3, p=[0.4, 0.4, 0.2]))]
    dose_ml = None if ratio is None else ratio * residual_mg_l * share * litres / MG_CL2_PER_ML
    refill = Refill(
        ZERO_S + POUR_S, "t", "replace",
        share * litres if chance(random, 0.8) else None,
        between(random, 2, 25) if chance(random, 0.7) else None, dose_ml,
    )  # fmt: skip
    ph, temperature_c = between(random, 6.4, 8.2), between(random, 22, 27)
    return Asked(setup, refill, every_s, ph, temperature_c, between(random, 220, 380))


def _after_quiet(asked: Asked, random: np.random.Generator) -> TankState:
    state, off = TankState(), (_QUIET_K, _QUIET_PH, _QUIET_MV)
    for at_s in np.arange(0.0, POUR_S - _EARLY_S, asked.every_s):
        noise = random.standard_normal(3) * off
        for record in _shown(at_s + ZERO_S, asked.temperature_c, asked.ph, asked.orp_mv, noise):
            state, _ = folded(asked.setup, state, record)
    return state


def _shown(
    time_s: float, temperature_c: float, ph: float, orp_mv: float, off: Array
) -> list[Input]:
    values: list[tuple[Quantity, float]] = [
        ("temperature", temperature_c + float(off[0])),
        ("ph", ph + float(off[1])),
        ("orp", orp_mv + float(off[2])),
    ]
    return [Reading(float(time_s), "t", quantity, value) for quantity, value in values]


def _one_of(particles: Particles, random: np.random.Generator) -> Particles:
    """One of the particles, as often as it weighs, with a background drawn from what it knows."""
    weights = particles.weights / particles.weights.sum()
    one = int(random.choice(weights.size, p=weights))
    parameters, state = particles.parameters[:, [one]].copy(), particles.state[:, [one]].copy()
    state[BACKGROUND_MV] += np.sqrt(state[BACKGROUND_VAR]) * random.standard_normal()
    return Particles(parameters, state, np.ones(1), (1,))


class Errors:
    """One channel's errors in units of their size: Student's t of four degrees of freedom.
    `z`: the normal score of the newest."""

    def __init__(self, random: np.random.Generator) -> None:
        """Draws from `random`."""
        self._random, self.z = random, float(random.standard_normal())

    def after(self, step_s: float, correlated_s: float) -> float:
        """The error `step_s` [s] later, where one in `correlated_s` [s] is independent."""
        kept = math.exp(-2.0 * step_s / correlated_s)
        new = math.sqrt(1.0 - kept * kept) * float(self._random.standard_normal())
        self.z = kept * self.z + new
        return student_4(self.z)


def student_4(z: float) -> float:
    """The quantile of Student's t of four degrees of freedom that a normal score `z` stands for
    (closed form: Shaw 2006, J. Comput. Finance 9:37; from memory)."""
    tail = _NORMAL.cdf(-abs(z))
    root = math.sqrt(max(4.0 * tail * (1.0 - tail), 1e-30))
    return math.copysign(2.0 * math.sqrt(max(math.cos(math.acos(root) / 3.0) / root - 1.0, 0.0)), z)


class _Probed:
    """A true particle and the probes that look at it."""

    def __init__(
        self, asked: Asked, watch: Watch, truth: Particles, noise_mv: float,
        random: np.random.Generator,
    ) -> None:  # fmt: skip
        self._asked, self._watch, self._truth = asked, watch, truth
        self._noise_mv, self._random = noise_mv, random
        self._errors = [Errors(random) for _ in range(3)]

    def lived(self, hours: float) -> tuple[list[Input], Array]:
        """What is shown until `hours` [h] after the pour, and what was true."""
        watch, every_s = self._watch, self._asked.every_s
        inputs: list[Input] = []
        rows, last_s = [], watch.last_s
        ph, temperature_c = self._asked.ph, self._asked.temperature_c
        for time_s in np.arange(watch.last_s, watch.zero_s + 3600.0 * hours + every_s, every_s):
            self._moved(last_s, float(time_s), ph, temperature_c)
            at_s = float(time_s) - watch.zero_s
            temperature_c, ph = self._water(at_s)
            orp_mv = self._orp_mv(at_s, ph)
            inputs += _shown(time_s, temperature_c, ph, orp_mv, np.zeros(3))
            rows.append((time_s, float(self._truth.residual[0]), float(self._truth.state[PEAK, 0])))
            last_s = float(time_s)
        return inputs, np.array(rows)

    def _moved(self, from_s: float, to_s: float, ph: float, temperature_c: float) -> None:
        step_s, zero_s = to_s - from_s, self._watch.zero_s
        if step_s <= 0.0:
            return
        now = Belief(ph=Channel(ph, to_s), temperature=Channel(temperature_c, to_s))
        truth = predicted(
            self._truth, from_s - zero_s, to_s - zero_s, binding=binding_at(now, to_s)
        )
        truth = lagged(truth, self._asked.setup.inference.law, hocl_at(now, to_s), step_s)
        wander_mv = priors.WANDER_MV_PER_SQRT_H * math.sqrt(step_s / 3600.0)
        moved = truth.state[BACKGROUND_MV] + wander_mv * self._random.standard_normal()
        self._truth = truth.with_rows(state={BACKGROUND_MV: moved})

    def _orp_mv(self, at_s: float, ph: float) -> float:
        truth, every_s = self._truth, self._asked.every_s
        signal = float(expected_orp_mv(truth, at_s)[0])
        model_mv = priors.MODEL_ERROR_MV + priors.MODEL_ERROR * abs(signal)
        size_mv = math.hypot(self._noise_mv, model_mv)
        slope_mv = float(truth.parameters[PH_SLOPE_MV, 0])
        error = self._errors[0].after(every_s, correlated_s(at_s))
        background_mv = float(truth.state[BACKGROUND_MV, 0]) + slope_mv * (ph - PH_REFERENCE)
        return background_mv + signal + size_mv * error

    def _water(self, at_s: float) -> tuple[float, float]:
        """Temperature [degrees C] and pH as they are shown."""
        watch, asked = self._watch, self._asked
        before_c = asked.temperature_c if watch.tank_c is None else watch.tank_c
        before_ph = asked.ph if watch.tank_ph is None else watch.tank_ph
        warmth = observations.temperature(before_c, watch.trend_k_per_h)
        return (
            self._of_step(warmth, self._errors[1], at_s),
            self._of_step(observations.acidity(before_ph), self._errors[2], at_s),
        )

    def _of_step(self, channel: WaterStep, errors: Errors, at_s: float) -> float:
        theta, late_s = self._truth.parameters[:, 0], min(max(at_s, 0.0), _DRIFTS_S)
        moved = float(self._truth.state[POURED, 0] * (theta[channel.incoming] - channel.before))
        if channel.recovers_s:
            moved *= math.exp(-max(at_s - float(theta[START_S]), 0.0) / channel.recovers_s)
        by_itself = channel.trend_per_h * late_s / 3600.0
        drift = channel.drift_sd * math.sqrt(late_s / 3600.0)
        size = math.hypot(channel.step_sd, drift, channel.share_sd * moved)
        error = errors.after(self._asked.every_s, channel.correlated_s)
        return channel.before + by_itself + moved + size * error


@contextmanager
def independent_draws(random: np.random.Generator) -> Iterator[None]:
    """Wherever the inference reads a fixed stream, draws of `random` instead: the same ones where
    it reads the same stream again."""
    met: dict[tuple[int, str], Array] = {}

    def uniform(n: int, stream: str) -> Array:
        if (n, stream) not in met:
            met[n, stream] = random.random(n)
        return met[n, stream]

    def normal(n: int, stream: str) -> Array:
        return np.array([_NORMAL.inv_cdf(u) for u in np.clip(uniform(n, stream), 1e-12, None)])

    def log_normal(n: int, stream: str, median: float, sigma: float) -> Array:
        return np.asarray(median * np.exp(sigma * normal(n, stream)))

    instead = {"uniform": uniform, "normal": normal, "log_normal": log_normal}
    readers = [m for name, m in sys.modules.items() if name.startswith("afterfill.inference")]
    patches = [
        patch.object(module, name, new)
        for module in readers
        for name, new in instead.items()
        if module.__dict__.get(name) is getattr(streams, name)
    ]
    for one in patches:
        one.start()
    try:
        yield
    finally:
        for one in patches:
            one.stop()
