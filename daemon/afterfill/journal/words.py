"""What was told of a tank, out of the journal: words, what they were corrected to, and by what."""

from collections.abc import Iterable, Iterator, Sequence

from afterfill.journal.entry import Entry
from afterfill.journal.store import Journal
from afterfill.record_kinds import KIND_OF, words_of
from afterfill.records import WORDS, Correction, ProbeLearnt, Record, SourceLearnt, StockLeft
from afterfill.told import Span, Told

WORD_KINDS = words_of(lambda kind: issubclass(kind.record_type, WORDS))
_CORRECTION = KIND_OF[Correction]


def told_of(journal: Journal, tank: str, *further: int) -> Told:
    """What was corrected of `tank`; `further` numbers are ones that somebody names."""
    corrections, after = list[tuple[int, Correction]](), 0
    while entries := journal.entries(after, kinds=(_CORRECTION,), tank=tank):
        corrections += [(e.seq, e.record) for e in entries if isinstance(e.record, Correction)]
        after = entries[-1].seq
    named = {correction.of for _, correction in corrections}.union(further)
    named -= {number for number, _ in corrections}
    return Told(tank, {n: it for n in named if (it := _at(journal, n)) is not None}, corrections)


def _at(journal: Journal, number: int) -> Record | None:
    entries = journal.entries(number - 1, until=number, limit=1)
    return entries[0].record if entries else None


class Corrected:
    """What the entries of one tank mean, with what was told since."""

    def __init__(self, told: Told, spans: Sequence[Span] | None = None) -> None:
        """`spans`: of all tanks that teach each other, where these are folded together."""
        self._instead, self._spans = told.instead, told.spans if spans is None else spans

    def record(self, entry: Entry) -> Record | None:
        """What holds instead of an entry; None where nothing does. What a wrong word taught is
        found again without it."""
        if entry.seq in self._instead:
            return self._instead[entry.seq]
        return None if self._is_taught(entry.record) and self.is_stale(entry.seq) else entry.record

    def is_stale(self, number: int) -> bool:
        """Whether entry `number` was written while a wrong word was believed."""
        return any(span.holds(number) for span in self._spans)

    def knows_better(self, number: int) -> bool:
        """Whether a state after entry `number` holds a wrong word."""
        return any(span.word <= number < span.correction for span in self._spans)

    @staticmethod
    def _is_taught(record: Record) -> bool:
        ours = isinstance(record, SourceLearnt) and not record.told_by
        return ours or isinstance(record, ProbeLearnt | StockLeft)


def as_told(entries: Iterable[Entry], told: Told) -> Iterator[Record]:
    """The records of `entries` with words as they were corrected, in the same order."""
    corrected = Corrected(told)
    for entry in entries:
        record = corrected.record(entry)
        if record is not None:
            yield record
