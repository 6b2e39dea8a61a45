"""What is asked of one home: what was said, held against what was so."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from bench.home_truths import (
    HIGH,
    LOW,
    QUARTER,
    SAFE,
    SEES,
    THREE_QUARTERS,
    TIME,
    TRUTH,
    Lived,
    Series,
)
from bench.story import ZERO_S

Mask = NDArray[np.bool_]
CARRIED_MG_L = 0.1
GRAIN_MG_L, NH3_GRAIN_MG_L = 1e-3, 1e-4
_AFTER_S, _SAFE_FROM_S, _DAY_S = 6 * 3600.0, 1200.0, 86_400.0
_WARM_UP_S = 3600.0


def begin_s(home: Lived) -> float:
    """When its first refill began [s]."""
    return home.story.pourings[0].begin_s


def is_announced(home: Lived) -> bool:
    """Whether its first refill was told of."""
    return home.story.pourings[0].announced


def peak_mg_l(home: Lived) -> float:
    """The highest residual that there was [mg/L as Cl2]."""
    return float(np.max(home.truth.residual, initial=0.0))


def since(home: Lived, from_s: float, to_s: float) -> Series:
    """Its moments between two times since the begin of its first refill [s]."""
    m, zero_s = home.minutes, begin_s(home)
    return np.asarray(m[(m[:, TIME] >= zero_s + from_s) & (m[:, TIME] < zero_s + to_s)])


def safe_over(home: Lived) -> bool:
    """Called safe more than 20 min after the begin while 0.1 mg/L was there."""
    m = since(home, _SAFE_FROM_S, 1e9)
    return bool(np.any((m[:, SAFE] > 0) & (m[:, TRUTH] >= CARRIED_MG_L)))


def called_clear(home: Lived) -> bool:
    """Whether the last verdict was *clear*."""
    return bool(home.verdicts) and home.verdicts[-1].verdict == "clear"


def ended_over(home: Lived) -> bool:
    """Alarm raised by this refill, over within six hours, with 0.05 mg/L still there."""
    zero_s = begin_s(home)
    return any(
        raised_s >= zero_s - 120.0 and over_s < zero_s + _AFTER_S and _truth(home, over_s) >= 0.05
        for raised_s, over_s in home.alarms_s
    )


def ammonia_inside(ahead_h: float) -> Callable[[Lived], Mask]:
    """Of what was said after the first refill of the un-ionised ammonia so many hours later,
    whether it came so; what no probe or kit could tell from nothing counts as said right."""

    def inside(home: Lived) -> Mask:
        time_s, truth = home.truth.time_s, home.truth.nh3
        said = [s for s in home.ammonia if s[1] == ahead_h and s[0] >= begin_s(home) + _WARM_UP_S]
        due_s = np.array([s[0] + 3600.0 * ahead_h for s in said])
        there = due_s <= time_s[-1] if len(said) else np.empty(0, bool)
        then = np.interp(due_s, time_s, truth)
        low, high = (np.array([s[place] for s in said]) for place in (2, 3))
        right = (then >= low - NH3_GRAIN_MG_L) & (then <= high + NH3_GRAIN_MG_L)
        return np.asarray(right[there]) if len(said) else np.empty(0, bool)

    return inside


def first_sure(home: Lived) -> tuple[float, float] | None:
    """When an end was first named while it lay ahead, and what time was named [s]; None: never."""
    from_s = home.story.pourings[0].end_s + 300.0
    return next((s for s in home.sure if from_s < s[0] < s[1] and _over_at(home, s[0])), None)


def _over_at(home: Lived, at_s: float) -> bool:
    return _truth(home, at_s) > home.limit_mg_l


def _truth(home: Lived, at_s: float) -> float:
    index = min(int(np.searchsorted(home.truth.time_s, at_s)), home.truth.time_s.size - 1)
    return float(home.truth.residual[index])


def too_early(pair: tuple[Lived, tuple[float, float]]) -> bool:
    """Whether the residual was over the limit after the end that was named."""
    home, (_, named_s) = pair
    time_s, residual = home.truth.time_s, home.truth.residual
    return bool(np.any(residual[time_s > named_s + 60.0] > home.limit_mg_l))


def inside(home: Lived) -> Mask:
    """Of the six hours after the refill, where the truth is over 0.02 mg/L and the ORP is seen."""
    m = since(home, 0.0, _AFTER_S)
    return within_interval(m[(m[:, TRUTH] > 0.02) & (m[:, SEES] > 0)])


def within_interval(moments: Series, *, half: bool = False) -> Mask:
    """Whether the truth is in the interval of 90 %, or in that of 50 %, of each moment."""
    low, high = (QUARTER, THREE_QUARTERS) if half else (LOW, HIGH)
    truth = moments[:, TRUTH]
    return np.asarray(
        (moments[:, low] - GRAIN_MG_L <= truth) & (truth <= moments[:, high] + GRAIN_MG_L)
    )


def safe_now(home: Lived) -> Mask:
    """Of the moments over the limit, those that were called safe."""
    m = home.minutes
    return np.asarray(m[m[:, TRUTH] > home.limit_mg_l, SAFE] > 0)


def is_blind(home: Lived) -> Mask:
    """Of the moments after the first hour, those without sight."""
    m = home.minutes
    return np.asarray(m[m[:, TIME] > _WARM_UP_S, SEES] == 0)


def blind_alarms(home: Lived) -> int:
    """How often `cannot-see` came after the first hour."""
    return sum(at_s > _WARM_UP_S for at_s in home.blind_s)


def source_off(home: Lived) -> bool:
    """Whether the tap is 1.4 times off what was configured."""
    assert home.story.home is not None
    off = home.story.tap_mg_l / home.story.home.configured_mg_l
    return off > 1.4 or off < 1.0 / 1.4


def peak_inside(home: Lived) -> bool:
    """Whether the peak was in the last verdict's interval."""
    told = home.verdicts[-1].peak_residual_mg_l
    return told.q05 - GRAIN_MG_L <= peak_mg_l(home) <= told.q95 + GRAIN_MG_L


def delay_s(home: Lived) -> float:
    """From the first minute over 0.1 mg/L to the alarm; endless if never."""
    over = home.truth.time_s[home.truth.residual >= CARRIED_MG_L]
    first_s = float(over[0]) if over.size else begin_s(home)
    raised = [a for a, end_s in home.alarms_s if end_s > begin_s(home) - 120.0]
    return max(raised[0] - first_s, 0.0) if raised else float("inf")


def alarmed_within(minutes: float) -> Callable[[Lived], bool]:
    """Whether the alarm came within so many minutes."""
    return lambda home: delay_s(home) <= 60.0 * minutes


def alarmed(home: Lived) -> bool:
    """Whether there was an alarm and nothing over the limit."""
    return bool(home.alarms_s) and peak_mg_l(home) <= home.limit_mg_l


def high_alarms(home: Lived) -> int:
    """How many there were."""
    return len(home.alarms_s)


def suspicions(home: Lived) -> int:
    """How many refills were suspected."""
    return len(home.suspected_s)


def alarmed_later(home: Lived) -> bool:
    """A high alarm at what oxidises and is no refill, once it was told of (from the second day on)
    or has come thrice."""
    known_s = 3.0 * _DAY_S
    if home.life == "told":
        known_s = home.story.said[0].time_s - ZERO_S + 0.9 * _DAY_S
    return any(raised_s > known_s for raised_s, _ in home.alarms_s)
