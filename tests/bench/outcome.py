"""One story played and folded: what there was, and what was made of it."""

from dataclasses import dataclass, field

import numpy as np

from afterfill.records import (
    AlarmChange,
    Dose,
    Estimate,
    Input,
    Quantiles,
    Refill,
    Tick,
    Verdict,
    known_since_s,
)
from afterfill.tank import TankState, folded
from afterfill.tank_setup import TankSetup, tank_setup
from bench.baselines import reached
from bench.story import ZERO_S, Pouring, Story, config_of
from bench.tanks import Played, played

WARM_UP_S = 3600.0
BEFORE_S, CAUGHT_S = 120.0, 1800.0  # an alarm belongs to a refill from so long before it
_AFTER_S = 6 * 3600.0  # estimates are compared with the truth for so long
_EVERY_S = 300.0
_POINTS = (0.05, 0.5, 0.95)
_OVER_MG_L = 0.1


@dataclass
class Found:
    """What the fold said. Times in seconds since the story's begin."""

    estimates: list[Estimate] = field(default_factory=list)
    verdicts: list[Verdict] = field(default_factory=list)
    alarms_s: list[tuple[float, float]] = field(default_factory=list)  # from, to


@dataclass
class RefillOutcome:
    """One refill of more than a tiny share. Times [s] since the story's begin; None: never."""

    seed: int
    law: str
    disinfectant: str
    announced: bool
    well_dosed: bool
    raw: bool
    blind: bool  # ORP away around the refill
    share: float
    begin_s: float
    peak_mg_l: float  # residual
    peak_free_mg_l: float
    peak_combined_mg_l: float
    over_s: float | None  # first over 0.1 mg/L
    what: str  # for the reader
    alarms_s: list[tuple[float, float]] = field(default_factory=list)
    verdict: str = ""
    inside_residual: list[bool] = field(default_factory=list)
    inside_nh3: list[bool] = field(default_factory=list)
    loss: float = 0.0
    loss_prior: float = 0.0
    reach: dict[str, float] = field(default_factory=dict)  # detectors', within its window

    def alarmed_within(self, minutes: float) -> bool:
        """Whether an alarm stood between the refill and so long after 0.1 mg/L was exceeded."""
        if self.over_s is None:
            return False
        until_s = self.over_s + 60.0 * minutes
        return any(a <= until_s and to_s >= self.begin_s - BEFORE_S for a, to_s in self.alarms_s)

    @property
    def delay_min(self) -> float:
        """From the first minute over 0.1 mg/L to the alarm; infinite when it never came."""
        later = [a for a, to_s in self.alarms_s if to_s >= self.begin_s - BEFORE_S]
        return (min(later) - (self.over_s or 0.0)) / 60.0 if later else np.inf


@dataclass
class QuietOutcome:
    """Days with no water, or with none but tiny top-offs. `false_s`: alarms at which the residual
    had not exceeded the limit for two hours."""

    seed: int
    law: str
    days: float
    false_s: list[float]
    troubles: list[tuple[str, float]]
    reach: dict[str, float]

    def called(self, at_s: float) -> bool:
        """Whether a false alarm came within six hours of a trouble."""
        return any(at_s <= a < at_s + _AFTER_S for a in self.false_s)


def refill_outcomes(story: Story, *, fold: bool = True) -> list[RefillOutcome]:
    """One for each refill of the story that is more than a top-off."""
    tank = played(story)
    setup = tank_setup(config_of(story), "t")
    found = run(setup, tank.inputs, story.hours) if fold else Found()
    prior = _mass_balance(setup, story) if fold else Found()
    large = [p for p in story.pourings if not p.tiny]
    ends_s = [p.begin_s - 600.0 for p in large[1:]] + [story.hours * 3600.0]
    return [
        _judged(story, tank, pouring, min(end_s, pouring.begin_s + 30_000.0), (found, prior))
        for pouring, end_s in zip(large, ends_s, strict=True)
    ]


def quiet_outcome(story: Story, *, fold: bool = True) -> QuietOutcome:
    """False alarms of a story without refills."""
    tank = played(story)
    setup = tank_setup(config_of(story), "t")
    found = run(setup, tank.inputs, story.hours) if fold else Found()
    limit_mg_l = setup.inference.limit_mg_l
    false_s = [a for a, _ in found.alarms_s if _recent_peak(tank, a) <= limit_mg_l]
    reach = reached(tank.time_s, tank.orp_mv, WARM_UP_S, story.hours * 3600.0)
    return QuietOutcome(story.seed, story.law, story.days, false_s, story.troubles, reach)


def run(setup: TankSetup, inputs: list[Input], hours: float) -> Found:
    """The fold over all records, its outputs sorted by kind."""
    state, found, raised_s = TankState(), Found(), None
    for record in inputs:
        state, outputs = folded(setup, state, record, _EVERY_S)
        for output in outputs:
            if isinstance(output, Estimate):
                found.estimates.append(output)
            elif isinstance(output, Verdict):
                found.verdicts.append(output)
            elif isinstance(output, AlarmChange) and output.alarm == "residual-oxidant":
                at_s = output.time_s - ZERO_S
                if raised_s is not None and not output.active:
                    found.alarms_s.append((raised_s, at_s))
                raised_s = (at_s if raised_s is None else raised_s) if output.active else None
    if raised_s is not None:
        found.alarms_s.append((raised_s, hours * 3600.0))
    return found


def _mass_balance(setup: TankSetup, story: Story) -> Found:
    """The same fold without any probe or kit: what was said and the mass balance alone."""
    said: list[Input] = [e for e in story.said if isinstance(e, Refill | Dose)]
    ticks: list[Input] = [
        Tick(ZERO_S + at_s, "t") for at_s in np.arange(0.0, story.hours * 3600.0, 100.0)
    ]
    return run(setup, sorted([*said, *ticks], key=known_since_s), story.hours)


def _judged(
    story: Story, tank: Played, pouring: Pouring, end_s: float, found: tuple[Found, Found]
) -> RefillOutcome:
    begin_s = pouring.begin_s
    here = (tank.time_s >= begin_s) & (tank.time_s < end_s)
    over = np.flatnonzero(here & (tank.residual > _OVER_MG_L))
    peak, peak_free, peak_combined = (
        float(np.max(series[here], initial=0.0))
        for series in (tank.residual, tank.free, tank.residual - tank.free)
    )
    over_s = float(tank.time_s[over[0]]) if over.size else None
    done = RefillOutcome(
        seed=story.seed,
        law=story.law,
        disinfectant=story.disinfectant,
        announced=pouring.announced,
        well_dosed=pouring.ratio >= 1.0 and peak < 0.011,
        raw=pouring.raw,
        blind=_blind(story, begin_s),
        share=pouring.share,
        begin_s=begin_s,
        peak_mg_l=peak,
        peak_free_mg_l=peak_free,
        peak_combined_mg_l=peak_combined,
        over_s=over_s,
        what=described(story, pouring),
        reach=_reach(tank, begin_s, end_s, over_s),
    )
    _compare(tank, pouring, end_s, found, done)
    return done


def _reach(tank: Played, begin_s: float, end_s: float, over_s: float | None) -> dict[str, float]:
    until_s = end_s if over_s is None else over_s + CAUGHT_S
    return reached(tank.time_s, tank.orp_mv, begin_s - BEFORE_S, until_s)


def _compare(
    tank: Played, pouring: Pouring, end_s: float, found: tuple[Found, Found], done: RefillOutcome
) -> None:
    ours, prior = found
    begin_s = pouring.begin_s
    done.alarms_s = [a for a in ours.alarms_s if a[1] >= begin_s - BEFORE_S and a[0] < end_s]
    verdicts = [
        v.verdict for v in ours.verdicts
        if begin_s - 1800.0 <= v.refill_time_s - ZERO_S < end_s and v.time_s - ZERO_S < end_s
    ]  # fmt: skip
    done.verdict = verdicts[-1] if verdicts else "none"
    truths = _truths(tank, ours.estimates, begin_s, end_s)
    for estimate, residual, nh3 in truths:
        if residual > 1e-3 or estimate.residual_mg_l.q95 > 1e-3:
            done.inside_residual.append(_inside(estimate.residual_mg_l, residual, 1e-3))
        if estimate.free_ammonia_mg_l is not None:
            done.inside_nh3.append(_inside(estimate.free_ammonia_mg_l, nh3, 1e-5))
    done.loss = _loss(truths)
    done.loss_prior = _loss(_truths(tank, prior.estimates, begin_s, end_s))


def _truths(
    tank: Played, estimates: list[Estimate], begin_s: float, end_s: float
) -> list[tuple[Estimate, float, float]]:
    """Estimates of the six hours after the refill, with the residual and NH3 then."""
    found = []
    for estimate in estimates:
        at_s = estimate.time_s - ZERO_S
        if begin_s <= at_s < min(begin_s + _AFTER_S, end_s):
            index = min(int(np.searchsorted(tank.time_s, at_s)), tank.time_s.size - 1)
            found.append((estimate, float(tank.residual[index]), float(tank.nh3[index])))
    return found


def _inside(quantiles: Quantiles, truth: float, grain: float) -> bool:
    return quantiles.q05 - grain <= truth <= quantiles.q95 + grain


def _loss(truths: list[tuple[Estimate, float, float]]) -> float:
    """Mean pinball loss of the three quantiles: the CRPS as far as three points tell it."""
    losses = [
        (p - (residual < q)) * (residual - q)
        for estimate, residual, _ in truths
        for p, q in zip(_POINTS, estimate.residual_mg_l, strict=True)
    ]
    return float(np.mean(losses)) if losses else 0.0


def _recent_peak(tank: Played, at_s: float) -> float:
    here = (tank.time_s > at_s - 7200.0) & (tank.time_s <= at_s)
    return float(np.max(tank.residual[here], initial=0.0))


def _blind(story: Story, begin_s: float) -> bool:
    away = [f for f in story.faults if f.kind in ("orp outage", "all outage")]
    return any(f.begin_s <= begin_s + 1800.0 and f.end_s > begin_s for f in away)


def described(story: Story, pouring: Pouring) -> str:
    """One line for the reader of a list of misses."""
    minutes = (pouring.end_s - pouring.begin_s) / 60.0
    said = "said" if pouring.announced else "unsaid"
    odd = sorted(
        {f.kind for f in story.faults if f.begin_s < pouring.end_s + 1800.0 < f.end_s + 7200}
    )
    return (
        f"{said}, {100 * pouring.share:.1f} % {pouring.mode} in {minutes:.0f} min, "
        f"{story.disinfectant} {story.tap_mg_l:.2f} mg/L, ratio {pouring.ratio:.2f} in "
        f"{pouring.place}, every {story.every_s:.0f} s, mixing {story.mixing_s:.0f} s, "
        f"source {pouring.source.temperature_c:.0f} C pH {pouring.source.ph:.1f}"
        + (f", {', '.join(odd)}" if odd else "")
    )
