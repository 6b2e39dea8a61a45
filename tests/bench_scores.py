"""What one story gave, and the figures of many."""

import math
from dataclasses import dataclass, field

import numpy as np

from afterfill.records import AlarmChange, Estimate, Quantiles, Reading, Refill, Tick, Verdict
from afterfill.tank import TankState, folded
from afterfill.tank_setup import tank_setup
from bench_baselines import DETECTORS, WARM_UP_S, first_over
from bench_stories import REFILL_H, is_faulty
from bench_tanks import ZERO_S, Played, Story, config_of, played

REFILL_S = REFILL_H * 3600.0
POINTS = (0.05, 0.5, 0.95)


@dataclass
class Outcome:
    """One story's result. Times in seconds since the story's begin; None: never."""

    seed: int
    law: str
    disinfectant: str
    announced: bool
    well_dosed: bool
    raw: bool
    faulty: bool
    days: float
    share: float
    peak_mg_l: float
    over_s: float | None  # first over 0.1 mg/L
    alarms_s: list[float] = field(default_factory=list)
    last_verdict: str = ""
    inside_residual: list[bool] = field(default_factory=list)
    inside_nh3: list[bool] = field(default_factory=list)
    loss: float = 0.0
    loss_prior: float = 0.0
    detectors_s: dict[str, list[tuple[float, float | None]]] = field(default_factory=dict)


def outcome_of(story: Story, levels: dict[str, list[float]]) -> Outcome:
    """Play a story and judge what the fold made of it."""
    tank = played(story)
    source = story.inflows[0].source if story.inflows else None
    over = np.flatnonzero(tank.residual > 0.1)
    refills = [e for e in story.said if isinstance(e, Refill)]
    done = Outcome(
        seed=story.seed,
        law=story.law,
        disinfectant=story.disinfectant,
        announced=bool(refills),
        well_dosed=bool(source and tank.residual.max() < 0.005),
        raw=bool(source and source.residual > 0.8 * story.tap_mg_l and not story.doses),
        faulty=is_faulty(story),
        days=story.hours / 24.0,
        share=story.inflows[0].share if story.inflows else 0.0,
        peak_mg_l=float(tank.residual.max()),
        over_s=float(tank.time_s[over[0]]) if over.size else None,
    )
    _folded(story, tank, done)
    _detected(tank, done, levels)
    return done


def _folded(story: Story, tank: Played, done: Outcome) -> None:
    setup, state = tank_setup(config_of(story), "t"), TankState()
    estimates: list[Estimate] = []
    for record in tank.inputs:
        state, found = folded(setup, state, record, 300.0)
        for output in found:
            if isinstance(output, Estimate):
                estimates.append(output)
            elif isinstance(output, Verdict):
                done.last_verdict = output.verdict
            elif (
                isinstance(output, AlarmChange)
                and output.alarm == "residual-oxidant"
                and output.state == "unacknowledged"
            ):
                done.alarms_s.append(output.time_s - ZERO_S)
    if story.inflows:
        _compare(tank, estimates, done)
        done.loss = _loss(tank, estimates)
        done.loss_prior = _loss(tank, _blind_estimates(story, tank))


def _blind_estimates(story: Story, tank: Played) -> list[Estimate]:
    """The same fold without any probe: what was said and the mass balance alone."""
    setup, state = tank_setup(config_of(story), "t"), TankState()
    found: list[Estimate] = []
    for record in tank.inputs:
        if isinstance(record, Reading):
            if record.quantity != "orp":
                continue
            record = Tick(record.time_s, "t")
        state, outputs = folded(setup, state, record, 300.0)
        found += [o for o in outputs if isinstance(o, Estimate)]
    return found


def _truths(tank: Played, estimates: list[Estimate]) -> list[tuple[Estimate, float, float]]:
    """Estimates of the six hours after the refill, with the residual and NH3 then."""
    found = []
    for estimate in estimates:
        at_s = estimate.time_s - ZERO_S
        if REFILL_S <= at_s < REFILL_S + 6 * 3600.0:
            index = min(int(np.searchsorted(tank.time_s, at_s)), tank.time_s.size - 1)
            found.append((estimate, float(tank.residual[index]), float(tank.nh3[index])))
    return found


def _compare(tank: Played, estimates: list[Estimate], done: Outcome) -> None:
    for estimate, residual, nh3 in _truths(tank, estimates):
        if residual > 1e-3 or estimate.residual_mg_l.q95 > 1e-3:
            done.inside_residual.append(_inside(estimate.residual_mg_l, residual, 1e-3))
        if estimate.free_ammonia_mg_l is not None:
            done.inside_nh3.append(_inside(estimate.free_ammonia_mg_l, nh3, 1e-5))


def _inside(quantiles: Quantiles, truth: float, grain: float) -> bool:
    return quantiles.q05 - grain <= truth <= quantiles.q95 + grain


def _loss(tank: Played, estimates: list[Estimate]) -> float:
    """Mean pinball loss of the three quantiles: the CRPS as far as three points tell it."""
    losses = [
        np.mean(
            [
                (p - (residual < q)) * (residual - q)
                for p, q in zip(POINTS, estimate.residual_mg_l, strict=True)
            ]
        )
        for estimate, residual, _ in _truths(tank, estimates)
    ]
    return float(np.mean(losses)) if losses else 0.0


def _detected(tank: Played, done: Outcome, levels: dict[str, list[float]]) -> None:
    for name, statistic_of in DETECTORS.items():
        statistic = statistic_of(tank.time_s, tank.orp_mv)
        done.detectors_s[name] = [
            (level, first_over(tank.time_s, statistic, level, WARM_UP_S)) for level in levels[name]
        ]


def wilson(hits: int, of: int) -> tuple[float, float]:
    """95 % interval of a share (Wilson 1927, J. Am. Stat. Assoc. 22:209; from memory)."""
    if of == 0:
        return 0.0, 1.0
    z, p = 1.96, hits / of
    middle = (p + z * z / (2 * of)) / (1 + z * z / of)
    half = z / (1 + z * z / of) * math.sqrt(p * (1 - p) / of + z * z / (4 * of * of))
    return max(middle - half, 0.0), min(middle + half, 1.0)
