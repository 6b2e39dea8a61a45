"""What the inference costs on one core, beside a reference library's filter on the same readings.

``python tests/bench/inference_cost.py`` prints one step of one tank (its three readings through
the whole fold) in quiet and under watch, the replay of a tank-year, a hundred tanks at 1 Hz, the
size of a snapshot, and the same readings through an unscented Kalman filter of filterpy with the
same chemistry and electrode in one hypothesis. Ours carries three hypotheses with 192 members
each, heavy tails, alarms and verdicts besides.
"""

import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from pathlib import Path

import numpy as np
from filterpy.kalman import MerweScaledSigmaPoints, UnscentedKalmanFilter
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from afterfill.inference.model import priors
from afterfill.records import Input, Reading, Refill
from afterfill.tank import TankState, folded
from afterfill.tank_setup import TankSetup, tank_setup
from afterfill.tank_snapshot import to_bytes
from bench.drawing import tap
from bench.story import ZERO_S, Pouring, Story, config_of
from bench.tanks import played

_REFILL_H = 4.0
_YEAR_S = 365.25 * 86400.0
STEP_BAR_US, STEP_GOAL_US = 250.0, 60.0
YEAR_BAR_S, CORE_BAR, SNAPSHOT_BAR_KB = 240.0, 0.5, 256.0


@dataclass(frozen=True)
class Cost:
    """One row: `bar` is the most that is allowed, None where nothing is asked."""

    name: str
    value: float
    unit: str
    bar: float | None = None
    goal: float | None = None

    @property
    def mark(self) -> str:
        """In words, how it stands."""
        if self.bar is None:
            return "no bar"
        if self.goal is not None and self.value <= self.goal:
            return "met goal"
        return "met bar" if self.value <= self.bar else "above bar"


def day(hours: float, every_s: float) -> Story:
    """A tank with one well-treated refill of a fifth of it after four hours."""
    source = tap(np.random.default_rng(5), "chloramine", 2.0, 1.5)
    begin_s = _REFILL_H * 3600.0
    story = Story(7, hours, every_s, 120.0, "chloramine", 2.0, "adsorption")
    story.pourings = [Pouring(begin_s, begin_s + 600.0, 0.2, source, ratio=1.5)]
    story.said = [Refill(ZERO_S + begin_s, "t", "replace", 24.0, 10.0, 1.8)]
    return story


def steps_of(inputs: Sequence[Input]) -> list[list[Input]]:
    """The records of each moment together."""
    return [list(records) for _, records in groupby(inputs, key=lambda record: record.time_s)]


def step_costs(repeats: int = 3) -> list[Cost]:
    """Microseconds of one step at the usual 10 s, in quiet and under watch: the median of the steps
    of each run, and the median of the runs; those with the minute's estimate apart, and the mean of
    all under watch. The largest snapshot on the way."""
    story = day(12.0, 10.0)
    setup, steps = tank_setup(config_of(story), "t"), steps_of(played(story).inputs)
    runs = [_timed(setup, steps) for _ in range(repeats)]
    quiet, watched, told, mean = (float(np.median([run[i] for run in runs])) for i in range(4))
    return [
        Cost("one step, quiet", quiet, "us", STEP_BAR_US, STEP_GOAL_US),
        Cost("one step, under watch", watched, "us", STEP_BAR_US, STEP_GOAL_US),
        Cost("one step, under watch, mean", mean, "us", STEP_BAR_US, STEP_GOAL_US),
        Cost("the minute's step with its estimate", told, "us"),
        Cost("snapshot, largest", _largest(setup, steps), "kB", SNAPSHOT_BAR_KB),
    ]


def _timed(setup: TankSetup, steps: list[list[Input]]) -> tuple[float, float, float, float]:
    """Medians of quiet steps, of watched ones without and with an estimate; mean of all watched."""
    state = TankState()
    took_us: dict[str, list[float]] = {"quiet": [], "watched": [], "told": []}
    for records in steps:
        watched, told = state.belief.watch is not None, False
        begin = time.perf_counter()
        for record in records:
            state, found = folded(setup, state, record)
            told = told or bool(found)
        kind = "quiet" if not watched else "told" if told else "watched"
        took_us[kind].append(1e6 * (time.perf_counter() - begin))
    quiet, watched_us, told_us = (float(np.median(took_us[k])) for k in took_us)
    return quiet, watched_us, told_us, float(np.mean(took_us["watched"] + took_us["told"]))


def _largest(setup: TankSetup, steps: list[list[Input]]) -> float:
    state, largest = TankState(), 0
    for number, records in enumerate(steps):
        for record in records:
            state, _ = folded(setup, state, record)
        if number % 60 == 0:
            largest = max(largest, len(to_bytes(state)))
    return largest / 1000.0


def year_cost(hours: float = 48.0) -> Cost:
    """Seconds to replay a tank-year at 30 s, from some hours with one refill in every two days."""
    story = day(hours, 30.0)
    spent_s = _folding_s(tank_setup(config_of(story), "t"), played(story).inputs)
    return Cost(
        "replay of a tank-year at 30 s", spent_s * _YEAR_S / (3600.0 * hours), "s", YEAR_BAR_S
    )


def hundred_tanks(minutes: float = 60.0) -> list[Cost]:
    """Share of a core that a hundred tanks at 1 Hz take, all quiet and all under watch at once."""
    story = replace(day(_REFILL_H + 2.0, 10.0))
    setup, inputs = tank_setup(config_of(story), "t"), played(story).inputs
    shares = []
    for name, from_h in (("quiet", 2.0), ("under watch", _REFILL_H + 0.2)):
        from_s = ZERO_S + 3600.0 * from_h
        state = TankState()
        for record in inputs:
            if record.time_s < from_s:
                state, _ = folded(setup, state, record)
        each_second = _each_second(inputs, from_s, minutes)
        spent_s = _folding_s(setup, each_second, state)
        share = 100.0 * spent_s / (60.0 * minutes)
        shares.append(Cost(f"100 tanks at 1 Hz, all {name}", share, "cores", CORE_BAR))
    return shares


def _each_second(inputs: Sequence[Input], from_s: float, minutes: float) -> list[Input]:
    """Readings every 10 s made into ten of 1 s each."""
    to_s = from_s + 60.0 * minutes
    return [
        replace(record, time_s=record.time_s + second)
        for records in steps_of([r for r in inputs if from_s <= r.time_s < to_s])
        for second in range(10)
        for record in records
        if isinstance(record, Reading)
    ]


def _folding_s(setup: TankSetup, inputs: Sequence[Input], state: TankState | None = None) -> float:
    """Seconds of processor time, so that other work on the machine does not count."""
    state = TankState() if state is None else state
    begin = time.process_time()
    for record in inputs:
        state, _ = folded(setup, state, record)
    return time.process_time() - begin


def reference_cost(repeats: int = 3) -> list[Cost]:
    """The same ORP through filterpy's unscented filter, one hypothesis: microseconds a step."""
    story = day(12.0, 30.0)
    readings = [r for r in played(story).inputs if isinstance(r, Reading) and r.quantity == "orp"]
    medians = []
    for _ in range(repeats):
        kalman, took_us = _unscented(), []
        for reading in readings:
            begin = time.perf_counter()
            kalman.predict(dt=30.0)
            kalman.update(np.array([reading.value]))
            took_us.append(1e6 * (time.perf_counter() - begin))
        medians.append(float(np.median(took_us)))
    one = float(np.median(medians))
    return [
        Cost("filterpy's unscented filter, one hypothesis", one, "us"),
        Cost("the same for three hypotheses", 3.0 * one, "us"),
    ]


def _unscented() -> UnscentedKalmanFilter:
    """State: logarithms of free, combined, surplus [mg/L]; response and background [mV]."""
    points = MerweScaledSigmaPoints(5, alpha=0.5, beta=2.0, kappa=0.0)
    kalman = UnscentedKalmanFilter(5, 1, 30.0, hx=_shown, fx=_moved, points=points)
    kalman.x = np.array([-5.0, -5.0, -5.0, 0.0, 300.0])
    kalman.P = np.diag([1.0, 1.0, 1.0, 25.0, 400.0])
    kalman.Q = np.diag([1e-3, 1e-3, 1e-3, 0.05, 0.02])
    kalman.R = np.array([[4.0]])
    return kalman


def _moved(x: NDArray[np.float64], dt: float) -> NDArray[np.float64]:
    hours = dt / 3600.0
    free, combined = np.exp(np.minimum(x[:2], 3.0))
    target = priors.B_MV * np.log10(
        1.0 + (0.6 * free + priors.W_COMBINED * combined) / priors.C0_MG_L
    )
    lag_s = 60.0 * (priors.RISE_MIN if target > x[3] else priors.FALL_MIN)
    response = x[3] + (target - x[3]) * (1.0 - np.exp(-dt / lag_s))
    decays = hours * np.array(
        [priors.K_FREE_PER_H, priors.K_COMBINED_PER_H, priors.K_SURPLUS_PER_H]
    )
    return np.array([*(x[:3] - decays), response, x[4]])


def _shown(x: NDArray[np.float64]) -> NDArray[np.float64]:
    surplus = np.exp(min(x[2], 3.0))
    return np.array([x[4] + x[3] - priors.DIP_MV * surplus / (surplus + 0.5)])


def main() -> None:
    """Print the rows."""
    for cost in [*step_costs(), year_cost(), *hundred_tanks(), *reference_cost()]:
        asked = "" if cost.bar is None else f"<= {cost.bar:g}"
        goal = "" if cost.goal is None else f"<= {cost.goal:g}"
        print(
            f"{cost.name:46s} {cost.value:9.4g} {cost.unit:6s} {asked:>8s} {goal:>6s}  {cost.mark}"
        )


if __name__ == "__main__":
    main()
