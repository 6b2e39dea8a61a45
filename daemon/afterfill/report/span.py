"""Which stretch of a tank's life a report is about."""

from dataclasses import dataclass

from afterfill.errors import UsageError
from afterfill.journal.store import Journal
from afterfill.journal.words import as_told, told_of
from afterfill.records import Refill, Verdict
from afterfill.wire import rfc3339

_BEFORE_S, _AFTER_S = 3600.0, 3600.0  # what was before, and what came of it; our judgement
_LEAST_S, _MOST_S = 3 * 3600.0, 12 * 3600.0
_SAME_REFILL_S = 6 * 3600.0  # a person's memory of when it was; our judgement
_ONE_WATER_S = 2400.0  # a word within this of a judged refill is about the same water
_FOR_ALL = 500


@dataclass(frozen=True, slots=True)
class Span:
    """[from_s, to_s) [Unix s]; `refill_s`: when the refill began that it is about, if one."""

    from_s: float
    to_s: float
    refill_s: float | None = None


def span_of_refill(journal: Journal, tank: str, near_s: float | None, now_s: float) -> Span:
    """Around the last refill, or the one nearest to `near_s` [Unix s], as far as it has gone.

    Raises UsageError when there was none.
    """
    times = refill_times_s(journal, tank)
    if not times:
        raise UsageError(
            f"the journal knows of no refill of tank '{tank}'; give a period with --from and --to"
        )
    refill_s = times[-1] if near_s is None else min(times, key=lambda t: abs(t - near_s))
    if near_s is not None and abs(refill_s - near_s) > _SAME_REFILL_S:
        raise UsageError(
            f"no refill of tank '{tank}' began near {rfc3339(near_s)}; the nearest began at "
            f"{rfc3339(refill_s)}: give --refill {rfc3339(refill_s)}, or a period with --from "
            "and --to"
        )
    return Span(refill_s - _BEFORE_S, _end_s(journal, tank, refill_s, now_s), refill_s)


def refill_times_s(journal: Journal, tank: str) -> list[float]:
    """When refills began, as judged, and as announced where no verdict is about that water: an
    automation repeats itself, and a keeper logs later what the readings betrayed."""
    judged, announced = set[float](), set[float]()
    told = told_of(journal, tank)
    for verdict in as_told(journal.latest("verdict", tank, _FOR_ALL), told):
        if isinstance(verdict, Verdict):
            judged.add(verdict.refill_time_s)
    for refill in as_told(journal.latest("refill", tank, _FOR_ALL), told):
        if isinstance(refill, Refill):
            announced.add(refill.time_s)
    of_their_own = {
        time_s for time_s in announced if all(abs(time_s - t) >= _ONE_WATER_S for t in judged)
    }
    return sorted(judged | of_their_own)


def _end_s(journal: Journal, tank: str, refill_s: float, now_s: float) -> float:
    last_s = refill_s + _LEAST_S
    for entry in journal.between(tank, refill_s, refill_s + _MOST_S, kinds=("verdict", "kit")):
        last_s = max(last_s, entry.record.time_s + _AFTER_S)
    return max(min(last_s, refill_s + _MOST_S, now_s), refill_s + 1.0)
