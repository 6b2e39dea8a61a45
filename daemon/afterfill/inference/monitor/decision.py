"""The answer for one refill, in one of four words, and when it is final."""

from collections.abc import Callable

import numpy as np

from afterfill.inference.filter.streams import Array
from afterfill.inference.model.hypotheses import index_of
from afterfill.inference.model.parameters import raw_share
from afterfill.inference.model.particles import PEAK
from afterfill.inference.monitor.watch import Watch
from afterfill.records import VerdictWord

CARRIED_AT, POSSIBLE_AT, CLEAR_AT = 0.9, 0.5, 0.05  # what the four words promise; our choice
_LOOK_S = 900.0  # after the pour, before silence of the ORP means anything
_WATCH_S, _WATCH_LONGEST_S = 5400.0, 24 * 3600.0  # slow electrodes; then it is history
_ENOUGH_SIGHT = 0.6  # of the time since the pour
_UNDECIDED_S = 3 * 3600.0  # by then only a test can tell


def word_for(watch: Watch, time_s: float, floor_mg_l: Callable[[], float]) -> VerdictWord | None:
    """The verdict at `time_s`, or None while it is too early to say anything. `floor_mg_l` gives
    the detection floor where it is needed."""
    p = watch.p_ever
    if p >= CARRIED_AT or (watch.said == "carried-over" and p >= POSSIBLE_AT):
        return "carried-over"
    if time_s < watch.poured_by_s + _LOOK_S:
        return "possible" if p >= POSSIBLE_AT else None
    if p <= CLEAR_AT:
        return _no_carry_over(watch, time_s, floor_mg_l)
    peaks = watch.particles.state[PEAK]
    if not _sighted(watch, time_s) or _below_floor(peaks, watch.limit_mg_l, floor_mg_l()):
        return "cannot-tell"
    return "possible"


def _no_carry_over(watch: Watch, time_s: float, floor_mg_l: Callable[[], float]) -> VerdictWord:
    """Clear only by what was seen, or where too little water came to matter. Where no dose was
    told of, nothing but the ORP speaks for clear, so it must be able to show such water; a filter
    that hardly ever lets any through speaks for it too, but not without sight."""
    if _harmless(watch):
        return "clear"
    if not _sighted(watch, time_s) or watch.masked:
        return "cannot-tell"
    told_of_none = watch.pour.announced and not watch.pour.neutraliser_ml
    if not told_of_none or raw_share(watch.water) <= CLEAR_AT:
        return "clear"
    hidden = _below_floor(_untreated_peaks(watch), watch.limit_mg_l, floor_mg_l())
    return "cannot-tell" if hidden else "clear"


def is_over(watch: Watch, time_s: float) -> bool:
    """Whether the watch ends at `time_s`."""
    since_s = time_s - watch.poured_by_s
    if since_s < _WATCH_S:
        return False
    p, now = watch.p_ever, watch.p_now
    decided = p <= CLEAR_AT or (p >= CARRIED_AT and now <= CLEAR_AT)
    undecided = p < CARRIED_AT and since_s >= _UNDECIDED_S
    return decided or undecided or since_s >= _WATCH_LONGEST_S


def _sighted(watch: Watch, time_s: float) -> bool:
    since_s = max(time_s - max(watch.poured_by_s - _LOOK_S, watch.zero_s), 1.0)
    return watch.sighted_s >= _ENOUGH_SIGHT * since_s


def _harmless(watch: Watch) -> bool:
    """Even untreated water could not have exceeded the limit: too little of it."""
    return bool(np.mean(_untreated_peaks(watch) > watch.limit_mg_l) <= CLEAR_AT)


def _untreated_peaks(watch: Watch) -> Array:
    short = watch.particles.groups[index_of("short")]
    return np.asarray(watch.particles.state[PEAK, short])


def _below_floor(peaks: Array, limit_mg_l: float, floor_mg_l: float) -> bool:
    """What may have got in is mostly too little for this probe to show."""
    peaks = peaks[peaks > limit_mg_l]
    return peaks.size > 0 and bool(np.median(peaks) < floor_mg_l)
