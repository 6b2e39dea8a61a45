"""What the inference costs on one core, beside a reference library's filter on the same readings.

``python tests/bench/inference_cost.py`` folds a day of one tank with a refill in it, read every
10 s and every 30 s, and in the same run lets an unscented Kalman filter of filterpy, with the same
chemistry and electrode in one hypothesis, follow the same ORP. It prints means of user CPU per
step, with estimates, forecasts, alarms and snapshots included, as a share of that filter; the
replay of a tank-year; a hundred tanks at 1 Hz; and the size of the largest snapshot.
"""

import resource
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import groupby
from pathlib import Path

import numpy as np
from filterpy.kalman import MerweScaledSigmaPoints, UnscentedKalmanFilter
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from afterfill.inference.model import priors
from afterfill.records import Input, Reading, Refill
from afterfill.service.rhythm import snapshot_every_s
from afterfill.tank import TankState, folded
from afterfill.tank_setup import TankSetup, tank_setup
from afterfill.tank_snapshot import to_bytes
from bench.drawing import tap
from bench.story import ZERO_S, Pouring, Story, config_of
from bench.tanks import played

_REFILL_H = 4.0
_YEAR_S = 365.25 * 86400.0
_SNAPSHOT_S = {True: 3600.0, False: snapshot_every_s(1)}  # under watch or not, as the service does
_BLOCK = 30  # steps whose CPU is measured together: the clock of a process is coarse
QUIET_BAR, QUIET_GOAL, WATCHED_BAR, WATCHED_GOAL = 0.3, 0.15, 0.7, 0.35
YEAR_BAR_S, YEAR_GOAL_S, CORE_BAR, SNAPSHOT_BAR_KB = 90.0, 45.0, 0.5, 256.0


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
            return ""
        if self.goal is not None and self.value <= self.goal:
            return "met goal"
        return "met bar" if self.value <= self.bar else "above bar"


@dataclass
class Spent:
    """User CPU [s] and steps of each kind of moment."""

    steps: dict[str, int] = field(default_factory=lambda: {"quiet": 0, "watched": 0, "filter": 0})
    cpu_s: dict[str, float] = field(
        default_factory=lambda: {"quiet": 0.0, "watched": 0.0, "filter": 0.0}
    )
    largest: int = 0

    def add(self, kind: str, steps: int, cpu_s: float) -> None:
        """One block."""
        self.steps[kind] += steps
        self.cpu_s[kind] += cpu_s

    def mean_us(self, kind: str) -> float:
        """Microseconds of user CPU in a step of this kind."""
        return 1e6 * self.cpu_s[kind] / max(self.steps[kind], 1)


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


def spent_on(story: Story) -> Spent:
    """The story through the whole fold, with the snapshots that the service would take, and its ORP
    through the reference filter, block by block in turn."""
    setup, steps = tank_setup(config_of(story), "t"), steps_of(played(story).inputs)
    spent, state, kalman, saved_s = Spent(), TankState(), _unscented(story.every_s), ZERO_S
    for first in range(0, len(steps), _BLOCK):
        block = steps[first : first + _BLOCK]
        kind = "quiet" if state.belief.watch is None else "watched"
        begin = _user_s()
        for records in block:
            for record in records:
                state, _ = folded(setup, state, record)
            saved_s = _saved(spent, state, records[0].time_s, saved_s)
        spent.add(kind, len(block), _user_s() - begin)
        spent.add("filter", *_filtered(kalman, block, story.every_s))
    return spent


def _saved(spent: Spent, state: TankState, time_s: float, saved_s: float) -> float:
    if time_s - saved_s < _SNAPSHOT_S[state.belief.watch is not None]:
        return saved_s
    spent.largest = max(spent.largest, len(to_bytes(state)))
    return time_s


def _filtered(
    kalman: UnscentedKalmanFilter, block: list[list[Input]], every_s: float
) -> tuple[int, float]:
    shown = [r.value for records in block for r in records
             if isinstance(r, Reading) and r.quantity == "orp" and r.value is not None]  # fmt: skip
    begin = _user_s()
    for orp_mv in shown:
        kalman.predict(dt=every_s)
        kalman.update(np.array([orp_mv]))
    return len(shown), _user_s() - begin


def _user_s() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_utime


def step_costs(hours: float = 24.0) -> list[Cost]:
    """Means at 10 s and at 30 s, and what a tank-year at 30 s would take."""
    rows, largest = [], 0
    for every_s in (10.0, 30.0):
        spent = spent_on(day(hours, every_s))
        reference = spent.mean_us("filter")
        largest = max(largest, spent.largest)
        rows.append(Cost(f"filterpy's unscented filter, at {every_s:g} s", reference, "us"))
        for kind, bar, goal in (
            ("quiet", QUIET_BAR, QUIET_GOAL), ("watched", WATCHED_BAR, WATCHED_GOAL),
        ):  # fmt: skip
            name, mean = f"one {kind} step, at {every_s:g} s", spent.mean_us(kind)
            rows.append(Cost(name, mean, "us"))
            rows.append(Cost(f"{name}, of the filter", mean / reference, "", bar, goal))
    return [*rows, Cost("snapshot, largest", largest / 1000.0, "kB", SNAPSHOT_BAR_KB)]


def year_cost(hours: float = 48.0) -> Cost:
    """Seconds to replay a tank-year at 30 s, from some hours with one refill in every two days."""
    story = day(hours, 30.0)
    setup, inputs = tank_setup(config_of(story), "t"), played(story).inputs
    spent_s = _user_of(lambda: _folded_through(setup, inputs))
    value = spent_s * _YEAR_S / (3600.0 * hours)
    return Cost("replay of a tank-year at 30 s", value, "s", YEAR_BAR_S, YEAR_GOAL_S)


def hundred_tanks(minutes: float = 60.0) -> list[Cost]:
    """Share of a core that a hundred tanks at 1 Hz take, all quiet and all under watch at once."""
    story = day(_REFILL_H + 2.0, 10.0)
    setup, inputs = tank_setup(config_of(story), "t"), played(story).inputs
    shares = []
    for name, from_h in (("quiet", 2.0), ("under watch", _REFILL_H + 0.2)):
        from_s = ZERO_S + 3600.0 * from_h
        state = _folded_through(setup, [r for r in inputs if r.time_s < from_s])
        each_second = _each_second(inputs, from_s, minutes)
        spent_s = _user_of(partial(_folded_through, setup, each_second, state))
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


def _folded_through(
    setup: TankSetup, inputs: Sequence[Input], state: TankState | None = None
) -> TankState:
    state = TankState() if state is None else state
    for record in inputs:
        state, _ = folded(setup, state, record)
    return state


def _user_of(work: Callable[[], object]) -> float:
    begin = _user_s()
    work()
    return _user_s() - begin


def _unscented(every_s: float) -> UnscentedKalmanFilter:
    """State: logarithms of free, combined, surplus [mg/L]; response and background [mV]."""
    points = MerweScaledSigmaPoints(5, alpha=0.5, beta=2.0, kappa=0.0)
    kalman = UnscentedKalmanFilter(5, 1, every_s, hx=_shown, fx=_moved, points=points)
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
    for cost in [*step_costs(), year_cost(), *hundred_tanks()]:
        asked = "" if cost.bar is None else f"<= {cost.bar:g}"
        goal = "" if cost.goal is None else f"<= {cost.goal:g}"
        print(
            f"{cost.name:46s} {cost.value:9.4g} {cost.unit:6s} {asked:>8s} {goal:>6s}  {cost.mark}"
        )


if __name__ == "__main__":
    main()
