"""What was told of a tank, out of the journal: words, what they were corrected to, and by what."""

from collections.abc import Collection, Iterable, Iterator, Sequence
from heapq import merge

from afterfill.journal.entry import Entry
from afterfill.journal.store import Journal
from afterfill.record_kinds import KIND_OF, words_of
from afterfill.records import (
    WORDS,
    Correction,
    ForecastCheck,
    ProbeLearnt,
    Record,
    SourceLearnt,
    StockLeft,
    Verdict,
)
from afterfill.told import Span, Told

WORD_KINDS = words_of(lambda kind: issubclass(kind.record_type, WORDS))
_CORRECTION = KIND_OF[Correction]


def told_of(journal: Journal, tank: str, *further: int) -> Told:
    """What was corrected of `tank`; `further`: numbers that are named now."""
    corrections, after = list[tuple[int, Correction]](), 0
    while entries := journal.entries(after, kinds=(_CORRECTION,), tank=tank):
        corrections += [(e.seq, e.record) for e in entries if isinstance(e.record, Correction)]
        after = entries[-1].seq
    named = {correction.of for _, correction in corrections}.union(further)
    named -= {number for number, _ in corrections}
    known = {number: it for number in named if (it := _at(journal, number)) is not None}
    return Told(tank, known, corrections, journal.dropped_until())


def _at(journal: Journal, number: int) -> Record | None:
    entries = journal.entries(number - 1, until=number, limit=1)
    return entries[0].record if entries else None


class Corrected:
    """What the entries of one tank mean, with what was told since."""

    def __init__(self, told: Told, spans: Sequence[Span] | None = None) -> None:
        """`spans`: of all tanks that teach each other, where these are folded together."""
        self._instead, self._spans = told.instead, told.spans if spans is None else spans
        self._no_refills_s = told.no_refills_s

    def record(self, entry: Entry) -> Record | None:
        """What holds instead of an entry; None where nothing does. What a wrong word taught was
        found again without it; so was what is said of the refill that it told of."""
        if entry.seq in self._instead:
            return self._instead[entry.seq]
        void = self._is_taught(entry.record) or self._is_of_no_refill(entry.record)
        return None if void and self.is_stale(entry.seq) else entry.record

    def is_stale(self, number: int) -> bool:
        """Whether entry `number` was written while a wrong word was believed."""
        return any(span.holds(number) for span in self._spans)

    def knows_better(self, number: int) -> bool:
        """Whether a state after entry `number` holds a wrong word."""
        return any(span.word <= number < span.correction for span in self._spans)

    @staticmethod
    def _is_taught(record: Record) -> bool:
        ours = isinstance(record, SourceLearnt) and not record.told_by
        return ours or isinstance(record, ProbeLearnt | StockLeft | ForecastCheck)

    def _is_of_no_refill(self, record: Record) -> bool:
        return isinstance(record, Verdict) and record.refill_time_s in self._no_refills_s


def between_as_told(
    journal: Journal, tank: str, from_s: float, to_s: float, kinds: Collection[str]
) -> Iterator[Record]:
    """As `Journal.between`, with words as they were corrected, at the times at which they happened
    by that."""
    told = told_of(journal, tank)
    moved = [
        word
        for word in told.instead.values()
        if word is not None and KIND_OF[type(word)] in kinds and from_s <= word.time_s < to_s
    ]
    found = journal.between(tank, from_s, to_s, kinds=kinds)
    rest = as_told((entry for entry in found if entry.seq not in told.instead), told)
    return merge(rest, sorted(moved, key=_time_s), key=_time_s)


def _time_s(record: Record) -> float:
    return record.time_s


def as_told(entries: Iterable[Entry], told: Told) -> Iterator[Record]:
    """The records of `entries` with words as they were corrected, in the same order."""
    corrected = Corrected(told)
    for entry in entries:
        record = corrected.record(entry)
        if record is not None:
            yield record
