"""The rows of the homes: what was said, held against what was so."""

from collections.abc import Callable, Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from bench.figures import Figure
from bench.home_truths import Lived
from bench.intervals import bootstrap, poisson, wilson

TIME, TRUTH, LOW, MIDDLE, HIGH, P, SEES, SAFE = range(8)
_AFTER_S, _HOUR_S = 6 * 3600.0, 3600.0
_SAFE_FROM_S = 1200.0
Mask = NDArray[np.bool_]


def rows_of(homes: Sequence[Lived]) -> list[Figure]:
    """All of them."""
    refills = [home for home in homes if home.life == "refill"]
    return [*_all_clear(homes, refills), *_alarm(refills), *_quiet(homes, refills)]


def _all_clear(homes: Sequence[Lived], refills: Sequence[Lived]) -> list[Figure]:
    carried = [h for h in refills if _peak(h) >= 0.1]
    sure = [(h, said) for h in refills for said in (_first_sure(h),) if said is not None]
    over = [h for h in refills if _peak(h) > 0.02]
    raw = [h for h in refills if h.story.pourings[0].raw and _peak(h) > 0.02]
    tops = [h for h in homes if h.life == "top-offs"]
    return [
        _share("SAFE after 20 min while >= 0.1 mg/L was there", carried, _safe_over, 0.02, 0.0),
        *_reliability(homes),
        _share("clear though the peak was >= 0.1 mg/L", carried, _called_clear, 1 / 300, 0.001),
        _share("high alarm ended within 6 h while >= 0.05 mg/L was there",
               [h for h in carried if h.alarms_s], _ended_over, 0.03, 0.005),
        _share("'surely below at' earlier than the truth", sure, _too_early, 0.08, 0.05),
        _minutes("minutes inside the 90 % interval, 0-6 h, truth > 0.02 mg/L", over, _inside,
                 (0.8, 0.97), (0.87, 0.93)),
        _ratio("estimate over truth 1-2 h after an untreated refill, median", raw),
        _minutes("daily raw top-offs: SAFE while over the limit, share of it", tops, _safe_now,
                 (0.0, 0.05), (0.0, 0.01)),
        _share("peak inside its interval, source off by 1.4 times",
               [h for h in over if h.peak and _source_off(h)], _peak_inside, 0.82, 0.87,
               least=True),
    ]  # fmt: skip


def _alarm(refills: Sequence[Lived]) -> list[Figure]:
    chlorine = [h for h in refills if h.story.disinfectant == "chlorine" and _peak(h) >= 0.1]
    chloramine = [h for h in refills if h.story.disinfectant == "chloramine"]
    unsaid = [h for h in refills if not _announced(h) and h.story.pourings[0].raw]
    said = [h for h in refills if _announced(h) and _peak(h) >= 0.1]
    return [
        _share("true free chlorine >= 0.1 mg/L: within 15 min",
               [h for h in refills if float(np.max(h.truth.free)) >= 0.1], _within(900.0), 0.97,
               0.995, least=True),
        _share("a tap of chlorine that brings total >= 0.1: within 15 min", chlorine,
               _within(900.0), 0.92, 0.98, least=True),
        _share("chloramine >= 0.3: within 20 min", [h for h in chloramine if _peak(h) >= 0.3],
               _within(1200.0), 0.95, 0.99, least=True),
        _share("chloramine 0.1-0.3: at all", [h for h in chloramine if 0.1 <= _peak(h) < 0.3],
               _within(_AFTER_S), 0.85, 0.95, least=True),
        _share("unannounced raw refill that brings >= 0.2: within 30 min",
               [h for h in unsaid if _peak(h) >= 0.2], _within(1800.0), 0.85, 0.97, least=True),
        _delay("median delay, announced [min]", said, 3.0, 2.0),
        _delay("median delay, unannounced [min]",
               [h for h in unsaid if _peak(h) >= 0.1], 8.0, 5.0),
    ]  # fmt: skip


def _quiet(homes: Sequence[Lived], refills: Sequence[Lived]) -> list[Figure]:
    dosed = [h for h in refills if _announced(h) and h.story.pourings[0].ratio >= 1.0]
    by = {life: [h for h in homes if h.life == life] for life in ("warm", "co2", "lamp")}
    blind_co2 = [h for h in by["co2"] if h.story.home and "ph" not in h.story.home.probes]
    return [
        _share("false high alarm per well-dosed announced refill", dosed, _alarmed, 0.005, 0.001),
        _rate("false high alarms per tank-year, warm days", by["warm"], _high, 1.0, 0.3),
        _rate("suspected refills per tank-year, warm days", by["warm"], _suspected, 4.0, 1.0),
        _rate("false high alarms per tank-year, CO2, no pH probe", blind_co2, _high, 4.0, 1.0),
        _rate("suspected refills per tank-year, CO2", by["co2"], _suspected, 4.0, 1.0),
        _share("high alarm by a lamp that came thrice", by["lamp"], _later_high, 0.1, 0.02),
        _minutes("share of time blind, refills", refills, _blind, (0.0, 0.02), (0.0, 0.005)),
        _pinball(refills),
    ]  # fmt: skip


def _pinball(refills: Sequence[Lived]) -> Figure:
    def ratio(some: Sequence[Lived]) -> float:
        against = sum(h.loss_of_mass_balance for h in some)
        return sum(h.loss for h in some) / against if against else float("nan")

    low, high = bootstrap(refills, ratio)
    name = "pinball loss against mass balance alone"
    return Figure(name, ratio(refills), low, high, f"{len(refills)} homes", (0.0, 0.5), (0.0, 0.35))


def _reliability(homes: Sequence[Lived]) -> list[Figure]:
    """How often what was said with these probabilities came true, with whole homes redrawn."""
    found = []
    for low, high in (
        (-1.0, 0.01),
        (0.01, 0.07),
        (0.07, 0.25),
        (0.25, 0.5),
        (0.5, 0.9),
        (0.9, 1.01),
    ):

        def true(some: Sequence[Lived], low: float = low, high: float = high) -> float:
            said = np.concatenate([_said_and_so(h, low, high) for h in some])
            return float(np.mean(said)) if said.size else float("nan")

        value, (begin, end) = true(homes), bootstrap(homes, true)
        name = f"p_over_limit in ({max(low, 0):g}, {min(high, 1):g}], seen: came true"
        said = np.concatenate([_p_seen(h, low, high) for h in homes])
        note = f"{said.size} times, said {float(np.mean(said)) if said.size else 0:.4f}"
        bands = ((0.0, 0.01), (0.0, 0.005)) if low < 0.0 else (None, None)
        found.append(Figure(name, value, begin, end, note, *bands))
    return found


def _p_seen(home: Lived, low: float, high: float) -> NDArray[np.float64]:
    m = home.minutes
    return np.asarray(m[(m[:, SEES] > 0) & (m[:, P] > low) & (m[:, P] <= high), P])


def _said_and_so(home: Lived, low: float, high: float) -> Mask:
    m = home.minutes
    here = (m[:, SEES] > 0) & (m[:, P] > low) & (m[:, P] <= high)
    return np.asarray(m[here, TRUTH] > home.limit_mg_l)


# --- one home ------------------------------------------------------------------------------------


def _begin_s(home: Lived) -> float:
    return home.story.pourings[0].begin_s


def _announced(home: Lived) -> bool:
    return home.story.pourings[0].announced


def _peak(home: Lived) -> float:
    return float(np.max(home.truth.residual))


def _since(home: Lived, from_s: float, to_s: float) -> NDArray[np.float64]:
    m, begin_s = home.minutes, _begin_s(home)
    return np.asarray(m[(m[:, TIME] >= begin_s + from_s) & (m[:, TIME] < begin_s + to_s)])


def _safe_over(home: Lived) -> bool:
    m = _since(home, _SAFE_FROM_S, 1e9)
    return bool(np.any((m[:, SAFE] > 0) & (m[:, TRUTH] >= 0.1)))


def _called_clear(home: Lived) -> bool:
    return bool(home.verdicts) and home.verdicts[-1].verdict == "clear"


def _ended_over(home: Lived) -> bool:
    """Raised by this refill, over within six hours, with 0.05 mg/L still there."""
    begin_s, time_s = _begin_s(home), home.truth.time_s
    for raised_s, over_s in home.alarms_s:
        if raised_s >= begin_s - 120.0 and over_s < begin_s + _AFTER_S:
            index = min(int(np.searchsorted(time_s, over_s)), time_s.size - 1)
            if home.truth.residual[index] >= 0.05:
                return True
    return False


def _first_sure(home: Lived) -> tuple[float, float] | None:
    """When an end was first named while it lay ahead, and what time was named [s]; None: never."""
    from_s = home.story.pourings[0].end_s + 300.0
    return next((s for s in home.sure if from_s < s[0] < s[1] and _over_at(home, s[0])), None)


def _over_at(home: Lived, at_s: float) -> bool:
    index = min(int(np.searchsorted(home.truth.time_s, at_s)), home.truth.time_s.size - 1)
    return bool(home.truth.residual[index] > home.limit_mg_l)


def _too_early(pair: tuple[Lived, tuple[float, float]]) -> bool:
    home, (_, named_s) = pair
    time_s, residual = home.truth.time_s, home.truth.residual
    return bool(np.any(residual[time_s > named_s + 60.0] > home.limit_mg_l))


def _inside(home: Lived) -> Mask:
    m = _since(home, 0.0, _AFTER_S)
    m = m[(m[:, TRUTH] > 0.02) & (m[:, SEES] > 0)]
    return np.asarray((m[:, LOW] - 1e-3 <= m[:, TRUTH]) & (m[:, TRUTH] <= m[:, HIGH] + 1e-3))


def _safe_now(home: Lived) -> Mask:
    m = home.minutes
    return np.asarray(m[m[:, TRUTH] > home.limit_mg_l, SAFE] > 0)


def _blind(home: Lived) -> Mask:
    m = home.minutes
    return np.asarray(m[m[:, TIME] > 3600.0, SEES] == 0)


def _source_off(home: Lived) -> bool:
    assert home.story.home is not None
    off = home.story.tap_mg_l / home.story.home.configured_mg_l
    return off > 1.4 or off < 1.0 / 1.4


def _peak_inside(home: Lived) -> bool:
    assert home.peak is not None
    return home.peak[0] - 1e-3 <= _peak(home) <= home.peak[2] + 1e-3


def _delay_s(home: Lived) -> float:
    """From the first minute over 0.1 mg/L to the alarm; endless if never."""
    over = home.truth.time_s[home.truth.residual >= 0.1]
    first_s = float(over[0]) if over.size else _begin_s(home)
    raised = [a for a, end_s in home.alarms_s if end_s > _begin_s(home) - 120.0]
    return max(raised[0] - first_s, 0.0) if raised else float("inf")


def _within(seconds: float) -> Callable[[Lived], bool]:
    return lambda home: _delay_s(home) <= seconds


def _alarmed(home: Lived) -> bool:
    return bool(home.alarms_s) and _peak(home) <= home.limit_mg_l


def _high(home: Lived) -> int:
    return len(home.alarms_s)


def _suspected(home: Lived) -> int:
    return len(home.suspected_s)


def _later_high(home: Lived) -> bool:
    return any(raised_s > 3 * 86_400.0 for raised_s, _ in home.alarms_s)


# --- figures -------------------------------------------------------------------------------------


def _share(
    name: str, of: Sequence[object], is_so: Callable[..., bool], bar: float, goal: float,
    *, least: bool = False,
) -> Figure:  # fmt: skip
    hits = [bool(is_so(one)) for one in of]
    low, high = wilson(sum(hits), len(hits))
    value = sum(hits) / len(hits) if hits else float("nan")
    bands = ((bar, 1.0), (goal, 1.0)) if least else ((0.0, bar), (0.0, goal))
    return Figure(name, value, low, high, f"{sum(hits)} of {len(hits)}", *bands)


def _minutes(
    name: str, homes: Sequence[Lived], of: Callable[[Lived], Mask],
    bar: tuple[float, float], goal: tuple[float, float],
) -> Figure:  # fmt: skip
    def share(some: Sequence[Lived]) -> float:
        all_of = _joined(of(home) for home in some)
        return float(np.mean(all_of)) if all_of.size else float("nan")

    note = f"{_joined(of(h) for h in homes).size} moments of {len(homes)} homes"
    return Figure(name, share(homes), *bootstrap(homes, share), note, bar, goal)


def _joined(parts: Iterable[Mask]) -> Mask:
    return np.concatenate([np.empty(0, bool), *parts])


def _ratio(name: str, homes: Sequence[Lived]) -> Figure:
    def median(some: Sequence[Lived]) -> float:
        ratios = [m[:, MIDDLE] / m[:, TRUTH] for h in some
                  for m in (_since(h, _HOUR_S, 2 * _HOUR_S),)]  # fmt: skip
        return float(np.median(np.concatenate(ratios))) if ratios else float("nan")

    low, high = bootstrap(homes, median)
    return Figure(name, median(homes), low, high, f"{len(homes)} homes", (0.5, 2.0), (0.75, 1.33))


def _delay(name: str, homes: Sequence[Lived], bar: float, goal: float) -> Figure:
    def median(some: Sequence[Lived]) -> float:
        return float(np.median([_delay_s(h) for h in some])) / 60.0 if some else float("nan")

    low, high = bootstrap(homes, median)
    return Figure(name, median(homes), low, high, f"of {len(homes)}", (0.0, bar), (0.0, goal))


def _rate(
    name: str, homes: Sequence[Lived], count: Callable[[Lived], int], bar: float, goal: float
) -> Figure:
    years, events = sum(h.days for h in homes) / 365.25, sum(count(h) for h in homes)
    low, high = poisson(events, years)
    value = events / years if years else float("nan")
    note = f"{events} in {years * 365.25:.0f} days of {len(homes)}"
    return Figure(name, value, low, high, note, (0.0, bar), (0.0, goal))
