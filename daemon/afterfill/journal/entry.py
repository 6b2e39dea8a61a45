"""One record of the journal, as readers get it."""

from dataclasses import dataclass
from typing import Protocol

from afterfill.records import Record, Stamp


@dataclass(frozen=True, slots=True)
class Entry:
    """One record of the journal with its number and its stamp."""

    seq: int
    stamp: Stamp
    record: Record


class Source(Protocol):
    """Rows read from the file, made into entries only when they are wanted."""

    def entry(self, index: int) -> Entry:
        """Row `index` as an entry. Raises PayloadError when this version does not know it."""
