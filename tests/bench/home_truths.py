"""What was said of a home, minute by minute, beside what was true."""

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from afterfill.inference.belief import Belief
from afterfill.inference.model.observations import as_read
from afterfill.inference.posterior.ammonia_ahead import ammonia_ahead
from afterfill.records import (
    AlarmChange,
    Estimate,
    Forecast,
    Input,
    KitResult,
    Reading,
    RefillSeen,
    Standing,
    Tick,
    Verdict,
    known_since_s,
)
from afterfill.tank import TankState, folded
from afterfill.tank_setup import TankSetup, tank_setup
from bench.home_stories import Life, home_story
from bench.story import ZERO_S, Story, config_of
from bench.tanks import Played, played

Series = NDArray[np.float64]
TIME, TRUTH, LOW, MIDDLE, HIGH, P, SEES, SAFE, QUARTER, THREE_QUARTERS = range(10)
_EVERY_S = 300.0
AHEAD_H = (0.0, 6.0, 24.0)
_BEFORE_S, _NEXT_S = 900.0, 600.0  # how long before a refill its own time begins, or another's ends


@dataclass
class Lived:
    """One home. `minutes` has a row each five minutes: time since the begin [s], truth, q05, q50,
    q95 [mg/L as Cl2], p_over_limit, sees, whether it was called safe, the particles' quartiles
    [mg/L as Cl2]. Alarms: raised and over [s]; `blind_s`: raised for being blind [s]. `sure`: when
    "surely below the limit at" was said [s], and what time was named [s]. `ammonia`: each half hour
    when it was said [s], so many hours ahead, and between what un-ionised ammonia would be [mg/L as
    N]. `failures`: records on which the inference failed."""

    life: Life
    seed: int
    story: Story
    limit_mg_l: float
    minutes: Series
    truth: Played
    alarms_s: list[tuple[float, float]] = field(default_factory=list)
    suspected_s: list[float] = field(default_factory=list)
    verdicts: list[Verdict] = field(default_factory=list)
    sure: list[tuple[float, float]] = field(default_factory=list)
    blind_s: list[float] = field(default_factory=list)
    ammonia: list[tuple[float, float, float, float]] = field(default_factory=list)
    failures: int = 0
    loss: float = 0.0
    loss_of_mass_balance: float = 0.0

    @property
    def days(self) -> float:
        """Its length."""
        return self.story.days


def by_refill(home: Lived) -> list[Lived]:
    """A home of several refills as one for each."""
    pourings = home.story.pourings
    ends_s = [p.begin_s - _NEXT_S for p in pourings[1:]] + [home.story.hours * 3600.0]
    return [
        _part(home, number, p.begin_s - _BEFORE_S, end_s)
        for number, (p, end_s) in enumerate(zip(pourings, ends_s, strict=True))
    ]


def _part(home: Lived, number: int, from_s: float, to_s: float) -> Lived:
    m, truth = home.minutes, home.truth
    here = (truth.time_s >= from_s) & (truth.time_s < to_s)
    series = (truth.time_s, truth.residual, truth.free, truth.nh3, truth.orp_mv)
    return replace(
        home,
        story=replace(home.story, pourings=[home.story.pourings[number]]),
        minutes=m[(m[:, TIME] >= from_s) & (m[:, TIME] < to_s)],
        truth=Played([], *(values[here] for values in series)),
        alarms_s=[(a, over_s) for a, over_s in home.alarms_s if over_s >= from_s and a < to_s],
        verdicts=[v for v in home.verdicts if from_s <= v.refill_time_s - ZERO_S < to_s],
        sure=[s for s in home.sure if from_s <= s[0] < to_s],
    )


def lived(life: Life, seed: int, laws: int) -> Lived:
    """The home of a seed, played and folded."""
    story = home_story(life, seed, laws)
    tank = played(story)
    setup = tank_setup(config_of(story), "t")
    home = Lived(life, seed, story, setup.inference.limit_mg_l, np.empty(0), tank)
    home = _told(home, setup, tank.inputs)
    if life == "refill":
        home.loss = _loss(home)
        blind = Lived(life, seed, story, setup.inference.limit_mg_l, np.empty(0), tank)
        home.loss_of_mass_balance = _loss(_told(blind, setup, _without_probes(tank.inputs)))
    return home


def _without_probes(inputs: list[Input]) -> list[Input]:
    """What was said, and that time passed."""
    said: list[Input] = [r for r in inputs if not isinstance(r, Reading | KitResult)]
    first_s, last_s = inputs[0].time_s, inputs[-1].time_s
    ticks: list[Input] = [Tick(float(at_s), "t") for at_s in np.arange(first_s, last_s, 100.0)]
    return sorted([*said, *ticks], key=known_since_s)


def _loss(home: Lived) -> float:
    """Mean pinball loss of the three quantiles in the six hours after the refill [mg/L]."""
    begin_s, m = home.story.pourings[0].begin_s, home.minutes
    m = m[(m[:, 0] >= begin_s) & (m[:, 0] < begin_s + 6 * 3600.0)]
    losses = [
        (p - (m[:, 1] < m[:, column])) * (m[:, 1] - m[:, column])
        for p, column in ((0.05, 2), (0.5, 3), (0.95, 4))
    ]
    return float(np.mean(losses)) if m.size else 0.0


def _told(home: Lived, setup: TankSetup, inputs: list[Input]) -> Lived:
    state, rows, raised_s, safe = TankState(), list[tuple[float, ...]](), None, False
    truth, blind = home.truth, False
    for record in inputs:
        state, outputs = folded(setup, state, record, _EVERY_S)
        estimates = []
        for output in outputs:
            at_s = output.time_s - ZERO_S
            if isinstance(output, Estimate):
                estimates.append(output)
            elif isinstance(output, Standing):
                safe = output.standing == "safe"
            elif isinstance(output, AlarmChange) and output.alarm == "residual-oxidant":
                if raised_s is not None and not output.active:
                    home.alarms_s.append((raised_s, at_s))
                raised_s = (at_s if raised_s is None else raised_s) if output.active else None
            elif isinstance(output, AlarmChange) and output.alarm == "cannot-see":
                home.blind_s += [at_s] if output.active and not blind else []
                blind = output.active
            else:
                _noted(home, output, at_s)
            if isinstance(output, Forecast):
                home.ammonia += _ammonia_ahead(state.belief, output.time_s)
        rows += [_row(e, truth, safe, state.belief) for e in estimates]
    if raised_s is not None:
        home.alarms_s.append((raised_s, home.story.hours * 3600.0))
    home.minutes, home.failures = np.array(rows), state.failures
    return home


def _ammonia_ahead(belief: Belief, time_s: float) -> list[tuple[float, float, float, float]]:
    found = zip(AHEAD_H, ammonia_ahead(belief, time_s, AHEAD_H), strict=True)
    return [(time_s - ZERO_S, hours, nh3.q05, nh3.q95) for hours, nh3 in found if nh3 is not None]


def _noted(home: Lived, output: object, at_s: float) -> None:
    if isinstance(output, Verdict):
        home.verdicts.append(output)
    elif isinstance(output, RefillSeen) and output.origin == "inferred":
        home.suspected_s.append(at_s)
    elif isinstance(output, Forecast) and output.residual_surely_below_limit_s is not None:
        home.sure.append((at_s, output.residual_surely_below_limit_s - ZERO_S))


def _row(estimate: Estimate, truth: Played, safe: bool, belief: Belief) -> tuple[float, ...]:
    at_s = estimate.time_s - ZERO_S
    index = min(int(np.searchsorted(truth.time_s, at_s)), truth.time_s.size - 1)
    return (
        at_s, float(truth.residual[index]), *estimate.residual_mg_l, estimate.p_over_limit,
        float(estimate.sees), float(safe), *_quartiles(belief),
    )  # fmt: skip


def _quartiles(belief: Belief) -> tuple[float, float]:
    """Of the residual as the particles have it, which no record tells of [mg/L as Cl2]."""
    if belief.holding is None:
        return 0.0, 0.0
    particles = belief.holding.particles
    values = as_read(particles.residual)
    order = np.argsort(values)
    reached = np.cumsum(particles.weights[order])
    index = np.searchsorted(reached, reached[-1] * np.array([0.25, 0.75]))
    low, high = values[order[np.minimum(index, values.size - 1)]]
    return float(low), float(high)
