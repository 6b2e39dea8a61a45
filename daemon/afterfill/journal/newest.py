"""The newest record of a kind, or of each of several things that share one, with its stamp."""

from collections.abc import Callable, Collection
from dataclasses import dataclass
from typing import Generic, TypeVar, cast

from afterfill.journal.store import Entry, Journal
from afterfill.record_kinds import KIND_OF
from afterfill.records import Record, Stamp

_MOST_ENTRIES = 100_000
_R = TypeVar("_R", bound=Record)


@dataclass(frozen=True, slots=True)
class Newest(Generic[_R]):
    """A record and when it was accepted."""

    record: _R
    stamp: Stamp


def newest(journal: Journal, record_type: type[_R], tank: str) -> Newest[_R] | None:
    """The newest record of a type, None when there is none."""
    for entry in journal.latest(KIND_OF[cast("type[Record]", record_type)], tank):
        if isinstance(entry.record, record_type):
            return Newest(entry.record, entry.stamp)
    return None


def newest_by(
    journal: Journal,
    record_type: type[_R],
    tank: str,
    key: Callable[[_R], str | None],
    keys: Collection[str],
) -> dict[str, Newest[_R]]:
    """The newest record for each of `keys`, as far as there are any."""
    count = 64
    while True:
        entries = journal.latest(KIND_OF[cast("type[Record]", record_type)], tank, count)
        found = _first_of_each(entries, record_type, key, keys)
        if len(found) == len(keys) or len(entries) < count or count >= _MOST_ENTRIES:
            return found
        count *= 8


def _first_of_each(
    entries: list[Entry],
    record_type: type[_R],
    key: Callable[[_R], str | None],
    keys: Collection[str],
) -> dict[str, Newest[_R]]:
    found: dict[str, Newest[_R]] = {}
    for entry in entries:
        record = entry.record
        if isinstance(record, record_type) and (name := key(record)) in keys and name is not None:
            found.setdefault(name, Newest(record, entry.stamp))
    return found
