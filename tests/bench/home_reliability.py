"""Whether what was said of the homes with a probability came true as often."""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from bench import home_questions as asked
from bench.calibration import brier, miscalibration_by_chance
from bench.figures import Band, Figure
from bench.home_figures import moments_of
from bench.home_questions import Mask
from bench.home_truths import SEES, TRUTH, Lived, P, Series
from bench.intervals import bootstrap
from bench.story import ZERO_S

Said = tuple[float, float, bool]  # first probability, final one, whether it was so
ELSEWHERE = ((0.01, 0.07), (0.07, 0.25), (0.25, 0.5))
BINS = (-1.0, 0.003, 0.01, 0.03, 0.07, 0.15, 0.25, 0.5, 0.75, 0.9, 0.97, 1.0)
SINCE_MIN = ((0, 20), (20, 60), (60, 180), (180, 360), (360, 1440))
_BEFORE_S = 900.0  # water of a suspected pour may have come so long before its name


def surely_not(homes: Sequence[Lived], *, seen: bool) -> Figure:
    """How often a probability of at most 0.01 came true."""
    name = f"p_over_limit <= 0.01: came true, {'sighted' if seen else 'blind'}"

    def so(home: Lived) -> Mask:
        m = _said(home, -1.0, 0.01, seen=seen)
        return np.asarray(m[:, TRUTH] > home.limit_mg_l)

    return moments_of(name, homes, so, (0.0, 0.01), (0.0, 0.005))


def odds_off(homes: Sequence[Lived], low: float, high: float) -> Figure:
    """The odds with which a probability in (low, high] came true, sighted, over those said."""

    def times(some: Sequence[Lived]) -> float:
        said, so = _said_and_so(some, low, high, seen=True)
        if not said.size:
            return float("nan")
        true = min(max(float(so.mean()), 0.5 / said.size), 1.0 - 0.5 / said.size)
        return true / (1.0 - true) * (1.0 - float(said.mean())) / float(said.mean())

    said, so = _said_and_so(homes, low, high, seen=True)
    mean = float(said.mean()) if said.size else float("nan")
    name = f"p_over_limit in ({low:g}, {high:g}]: odds of truth over said"
    note = f"said {mean:.3f}, {so.sum()} of {so.size} moments came true"
    bar, goal = ((1.0 / most, most) for most in (3.0, 1.5))
    return Figure(name, times(homes), *bootstrap(homes, times), note, bar, goal)


def _said(home: Lived, low: float, high: float, *, seen: bool) -> Series:
    m = home.minutes
    return np.asarray(m[((m[:, SEES] > 0) == seen) & (m[:, P] > low) & (m[:, P] <= high)])


def _said_and_so(
    homes: Sequence[Lived], low: float, high: float, *, seen: bool
) -> tuple[Series, Mask]:
    parts = [(h, _said(h, low, high, seen=seen)) for h in homes]
    said = [m[:, P] for _, m in parts]
    so = [m[:, TRUTH] > h.limit_mg_l for h, m in parts]
    return np.concatenate([np.empty(0), *said]), np.concatenate([np.empty(0, bool), *so])


def miscalibration(homes: Sequence[Lived], *, final: bool) -> Figure:
    """Of the first or the final verdicts, by the isotonic parts of their Brier score."""
    which, bar, goal = ("final", 0.01, 0.005) if final else ("first", 0.04, 0.01)
    by_home = [verdicts_of(home) for home in homes]

    def of(some: Sequence[Sequence[Said]]) -> float:
        told = [one for of_home in some for one in of_home]
        return brier([it[final] for it in told], [it[2] for it in told]).miscalibration

    said = [it[final] for of_home in by_home for it in of_home]
    true = sum(it[2] for of_home in by_home for it in of_home)
    note = f"{true} of {len(said)} true; {miscalibration_by_chance(said):.4f} by chance"
    bands: tuple[Band, Band] = (0.0, bar), (0.0, goal)
    name = f"miscalibration of {which} verdicts"
    return Figure(name, of(by_home), *bootstrap(by_home, of), note, *bands)


def verdicts_of(home: Lived) -> list[Said]:
    """Of each refill with a final verdict: the probabilities of its first and its final one, and
    whether the residual exceeded the limit from its begin until then."""
    found = []
    for last in (v for v in home.verdicts if v.final):
        first = next(v for v in home.verdicts if v.refill_time_s == last.refill_time_s)
        time_s, residual = home.truth.time_s + ZERO_S, home.truth.residual
        here = (time_s >= last.refill_time_s - _BEFORE_S) & (time_s <= last.time_s)
        so = float(np.max(residual[here], initial=0.0)) > home.limit_mg_l
        found.append((first.probability, last.probability, so))
    return found


def reliability_lines(sighted: Sequence[Lived], blind: Sequence[Lived]) -> list[str]:
    """What was said, how often it came true with its interval, and how many times; by sight."""
    rows = []
    for seen, homes in ((True, sighted), (False, blind)):
        rows.append(f"p_over_limit, {'sighted' if seen else 'blind'}")
        rows.append(
            f"  {'between':>15} {'said':>7} {'true':>7} {'95 % interval':>16} {'n of N':>16}"
        )
        rows += [_reliability(homes, low, high, seen=seen) for low, high in pairwise(BINS)]
    return rows


def _reliability(homes: Sequence[Lived], low: float, high: float, *, seen: bool) -> str:
    def true(some: Sequence[Lived]) -> float:
        so = _said_and_so(some, low, high, seen=seen)[1]
        return float(so.mean()) if so.size else float("nan")

    said, so = _said_and_so(homes, low, high, seen=seen)
    between = f"{max(low, 0.0):g}-{high:g}"
    if not so.size:
        return f"  {between:>15} {'never said':>15}"
    begin, end = bootstrap(homes, true)
    return (
        f"  {between:>15} {said.mean():7.4f} {so.mean():7.4f} {begin:7.4f} {end:8.4f} "
        f"{f'{so.sum()} of {so.size}':>16}"
    )


def coverage_lines(refills: Sequence[Lived]) -> list[str]:
    """How often the truth was inside the intervals of 50 and 90 %, sighted, by time since the
    pour's begin: of all moments, and of those with the truth over 0.02 mg/L."""
    rows = ["inside the intervals, sighted, by time since the pour began"]
    rows.append(f"  {'min':>9}  {'50 %':>23}  {'90 %':>23}  {'in 90 %: n of N':>16}")
    for over_mg_l, what in ((-1.0, "all"), (0.02, "truth over 0.02 mg/L")):
        rows.append(f"  {what}")
        rows += [_coverage(refills, *minutes, over_mg_l) for minutes in SINCE_MIN]
    return rows


def _coverage(refills: Sequence[Lived], from_min: int, to_min: int, over_mg_l: float) -> str:
    def here(home: Lived) -> Series:
        m = asked.since(home, 60.0 * from_min, 60.0 * to_min)
        return np.asarray(m[(m[:, TRUTH] > over_mg_l) & (m[:, SEES] > 0)])

    halves = moments_of("", refills, lambda h: asked.within_interval(here(h), half=True))
    nineties = moments_of("", refills, lambda h: asked.within_interval(here(h)))
    shares = "  ".join(f"{f.value:6.3f} ({f.low:6.3f}, {f.high:6.3f})" for f in (halves, nineties))
    number = nineties.note.split(" moments")[0]
    return f"  {f'{from_min}-{to_min}':>9}  {shares}  {number:>16}"
