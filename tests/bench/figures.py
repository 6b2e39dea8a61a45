"""The figures by which the inference is judged, each with its 95 % interval, bar and goal."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from bench.against import Rivals, missed_against
from bench.intervals import bootstrap, poisson, wilson
from bench.outcome import QuietOutcome, RefillOutcome
from bench.quiet_stories import is_fault

Band = tuple[float, float]  # the least and the most that will do


@dataclass(frozen=True)
class Figure:
    """One row of the table. `bar` and `goal` are None where nothing is asked of it."""

    name: str
    value: float
    low: float
    high: float
    note: str
    bar: Band | None = None
    goal: Band | None = None

    @property
    def mark(self) -> str:
        """In words, how it stands."""
        if self.bar is None or self.goal is None:
            return "no bar"
        if math.isnan(self.value):
            return "no data"
        if _within(self.value, self.goal):
            return "met goal"
        return "met bar" if _within(self.value, self.bar) else "below bar"


@dataclass
class Played:
    """All outcomes of one set of seeds; `top_offs`: days with nothing but tiny top-offs."""

    refills: list[RefillOutcome] = field(default_factory=list)
    quiet: list[QuietOutcome] = field(default_factory=list)
    top_offs: list[QuietOutcome] = field(default_factory=list)


def _within(value: float, band: Band) -> bool:
    return band[0] <= value <= band[1]


def _at_least(value: float) -> Band:
    return value, float("inf")


def _at_most(value: float) -> Band:
    return -float("inf"), value


def table(found: Played, rivals: Rivals) -> list[Figure]:
    """Every figure, in the order in which they are asked for; those without a bar come last."""
    return [*_alarms(found), *_calibration(found), *_rivals(found, rivals), *_beside(found)]


def free_carried(refills: list[RefillOutcome]) -> list[RefillOutcome]:
    """At least 0.1 mg/L of free chlorine in the tank while the ORP could be read. Much of what
    comes as free chlorine turns into chloramine there: see below."""
    return [o for o in refills if o.peak_free_mg_l >= 0.1 and not o.blind]


def combined_carried(refills: list[RefillOutcome]) -> list[RefillOutcome]:
    """At least 0.3 mg/L of chloramine in the tank, and less than 0.1 mg/L of free chlorine, while
    the ORP could be read."""
    return [
        o for o in refills if o.peak_combined_mg_l >= 0.3 and o.peak_free_mg_l < 0.1 and not o.blind
    ]


def well_dosed(refills: list[RefillOutcome]) -> list[RefillOutcome]:
    """Announced refills that got what they need."""
    return [o for o in refills if o.well_dosed and o.announced]


def unannounced_raw(refills: list[RefillOutcome]) -> list[RefillOutcome]:
    """Untreated water of at least 5 % that was not announced and that put 0.2 mg/L or more in."""
    return [
        o
        for o in refills
        if not o.announced and o.raw and o.share >= 0.05 and o.peak_mg_l >= 0.2 and not o.blind
    ]


def faults(quiet: list[QuietOutcome]) -> list[tuple[str, bool]]:
    """Each probe fault or servicing, and whether it was called carry-over."""
    return [(kind, o.called(at)) for o in quiet for kind, at in o.troubles if is_fault(kind)]


def _alarms(found: Played) -> list[Figure]:
    refills, quiet = found.refills, found.quiet
    years = sum(o.days for o in quiet) / 365.25
    false = sum(len(o.false_s) for o in quiet)
    low, high = poisson(false, years)
    return [
        _share(
            "free chlorine >= 0.1 mg/L: alarm within 15 min",
            [o.alarmed_within(15) for o in free_carried(refills)],
            _at_least(0.95), _at_least(0.995),
        ),
        _share(
            "chloramine >= 0.3 mg/L: alarm within 20 min",
            [o.alarmed_within(20) for o in combined_carried(refills)],
            _at_least(0.85), _at_least(0.98),
        ),
        _delay([o for o in refills if o.over_s is not None and not o.blind]),
        _share(
            "false alarms per well-dosed announced refill",
            [bool(o.alarms_s) for o in well_dosed(refills)],
            _at_most(0.015), _at_most(0.001),
        ),
        Figure(
            "false alarms per tank-year without a refill", false / max(years, 1e-9), low, high,
            f"{false} in {365.25 * years:.0f} days", _at_most(4.0), _at_most(0.5),
        ),
        _share(
            "unannounced raw refill: alarm within 30 min",
            [o.alarmed_within(30) for o in unannounced_raw(refills)],
            _at_least(0.75), _at_least(0.95),
        ),
    ]  # fmt: skip


def _delay(carried: list[RefillOutcome]) -> Figure:
    def median(of: Sequence[float]) -> float:
        return float(np.quantile(of, 0.5, method="lower")) if len(of) else float("nan")

    delays = [o.delay_min for o in carried]
    low, high = bootstrap(delays, median)
    note = f"of {len(delays)}; never counts as endless"
    return Figure(
        "median delay after 0.1 mg/L [min]", median(delays), low, high, note,
        _at_most(8.0), _at_most(4.0),
    )  # fmt: skip


def _calibration(found: Played) -> list[Figure]:
    band = (0.80, 0.97), (0.87, 0.93)
    announced = [o for o in found.refills if o.announced]
    return [
        _cover(
            "residual inside its 90 % interval", [o.inside_residual for o in found.refills], *band
        ),
        _cover(
            "free ammonia inside its 90 % interval", [o.inside_nh3 for o in found.refills], *band
        ),
        _loss_ratio(
            "CRPS against the mass balance, announced", announced, _at_most(0.6), _at_most(0.35)
        ),
    ]


def _cover(name: str, inside: list[list[bool]], bar: Band, goal: Band) -> Figure:
    def mean(of: Sequence[list[bool]]) -> float:
        number = sum(len(one) for one in of)
        return sum(sum(one) for one in of) / number if number else float("nan")

    known = [one for one in inside if one]
    low, high = bootstrap(known, mean)
    note = f"{sum(map(len, known))} estimates of {len(known)} refills"
    return Figure(name, mean(known), low, high, note, bar, goal)


def _loss_ratio(
    name: str, of: list[RefillOutcome], bar: Band | None = None, goal: Band | None = None
) -> Figure:
    def ratio(some: Sequence[RefillOutcome]) -> float:
        return sum(o.loss for o in some) / max(sum(o.loss_prior for o in some), 1e-12)

    low, high = bootstrap(of, ratio)
    return Figure(name, ratio(of), low, high, "pinball loss at 5, 50, 95 %", bar, goal)


def _rivals(found: Played, rivals: Rivals) -> list[Figure]:
    value, low, high, note = missed_against(found.refills, found.quiet, rivals)
    called = [called for _, called in faults(found.quiet)]
    return [
        Figure(
            "misses over those of the best simple detector", value, low, high, note,
            _at_most(0.5), _at_most(0.1),
        ),
        _share(
            "probe faults and servicing called carry-over", called,
            _at_most(0.02), _at_most(0.002),
        ),
    ]  # fmt: skip


def _beside(found: Played) -> list[Figure]:
    refills = found.refills
    seen = [o for o in refills if not o.blind]
    carried = [o for o in refills if o.peak_mg_l >= 0.1]
    days = sum(o.days for o in found.top_offs)
    false = sum(len(o.false_s) for o in found.top_offs)
    low, high = poisson(false, days / 365.25)
    return [
        _share(
            "as above, free chlorine, announced only",
            [o.alarmed_within(15) for o in free_carried(refills) if o.announced],
        ),
        _share(
            "as above, chloramine, announced only",
            [o.alarmed_within(20) for o in combined_carried(refills) if o.announced],
        ),
        _share(
            "false alarms per well-dosed unannounced refill",
            [bool(o.alarms_s) for o in refills if o.well_dosed and not o.announced],
        ),
        Figure(
            "false alarms per tank-year of tiny top-offs", false / max(days / 365.25, 1e-9),
            low, high, f"{false} in {days:.0f} days",
        ),
        _share(
            "called clear though >= 0.1 mg/L came, ORP seen",
            [o.verdict == "clear" for o in carried if not o.blind],
        ),
        _share(
            "called clear though >= 0.1 mg/L came, ORP away",
            [o.verdict == "clear" for o in carried if o.blind],
        ),
        _share(
            "well-dosed announced refill called clear in the end",
            [o.verdict == "clear" for o in well_dosed(seen)],
        ),
        _loss_ratio("CRPS against the mass balance, all", refills),
    ]  # fmt: skip


def _share(
    name: str, holds: list[bool], bar: Band | None = None, goal: Band | None = None
) -> Figure:
    low, high = wilson(sum(holds), len(holds))
    share = sum(holds) / len(holds) if holds else float("nan")
    return Figure(name, share, low, high, f"{sum(holds)} of {len(holds)}", bar, goal)


def by_kind(of: list[tuple[str, bool]]) -> dict[str, tuple[int, int]]:
    """How many of each kind hold, and how many there are."""
    kinds = sorted({kind for kind, _ in of})
    of_kind = {kind: [holds for k, holds in of if k == kind] for kind in kinds}
    return {kind: (sum(holds), len(holds)) for kind, holds in of_kind.items()}
