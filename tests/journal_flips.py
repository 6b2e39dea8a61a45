"""One bit of a journal's files flipped: what readers and the service's start make of it."""

import random
import shutil
from collections import Counter
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

from afterfill.errors import JournalError
from afterfill.journal.damage import mend_if_damaged
from afterfill.journal.store import Journal
from afterfill.journal.survey import surveyed
from afterfill.records import AlarmChange, Dose, Estimate, Quantiles, Reading, Refill, Stamp

START_S = 1_772_350_200.0
SUFFIXES = ("", "-wal", "-tail")
_TANKS = ("window", "trout")
_LONG_S = 1e9


@dataclass(frozen=True)
class Known:
    """All that a journal holds, as plain values."""

    entries: dict[int, Any]
    inbox: dict[int, Any]
    cursors: dict[str, int]
    snapshots: dict[str, tuple[int, bytes]]
    meta: dict[str, str]

    def holds(self, other: "Known") -> bool:
        """Whether `other` says nothing else than this: what it has is here too. A cursor may be
        older, a snapshot the one before: both lead to the same."""
        return (
            other.entries.items() <= self.entries.items()
            and other.inbox.items() <= self.inbox.items()
            and all(other.cursors[n] <= seq for n, seq in self.cursors.items())
            and all(s in _states(t) for t, s in other.snapshots.items())
            and other.meta.items() <= self.meta.items()
        )


def _stamp(number: int) -> Stamp:
    return Stamp(START_S + number, True, f"boot-{number // 100}", float(number))


def _state(tank: str, seq: int) -> bytes:
    return random.Random(f"{tank}{seq}").randbytes(1500)


@cache
def _states(tank: str) -> list[tuple[int, bytes]]:
    return [(seq, _state(tank, seq)) for seq in range(600)]


def _estimate(time_s: float, tank: str) -> Estimate:
    some = Quantiles(0.0, 0.01, 0.02)
    return Estimate(time_s, tank, some, some, some, some, some, 0.01, 0.05, True, None)


def lived(folder: Path, *, checkpointed: bool = True) -> Path:
    """A journal in use, copied as a power cut would leave it: database, log and tail."""
    source, copy = folder / "source.db", folder / "j.db"
    journal, people = Journal.open(source), Journal.open(source)
    for minute in range(36):
        for tank in _TANKS:
            for second in range(5):
                stamp = _stamp(minute * 5 + second)
                value = 300.0 + (minute * 7 + second) % 13
                journal.append(Reading(stamp.time_s, tank, "orp", value, f"{tank}-orp"), stamp)
            journal.append(_estimate(stamp.time_s, tank), stamp)
        if minute % 6 == 3:
            dose = Dose(stamp.time_s, "window", float(minute))
            people.submit(dose, _stamp(minute * 5 + 1))
            for inbox_id, event, left in journal.inbox():
                journal.take(inbox_id, event, left)
        if minute % 6 == 5:
            change = AlarmChange(
                stamp.time_s, "trout", "ph", "unacknowledged", "medium", active=True
            )
            journal.append(change, stamp)
        if minute % 12 == 9:
            for tank in _TANKS:
                seq = journal.last_appended()
                journal.save_snapshot(tank, seq, _state(tank, seq))
        journal.commit()
        if minute % 10 == 8:
            people.move_cursor("mqtt", journal.last_seq())
            people.set_meta(f"fact-{minute}", f"value of {minute}")
        if checkpointed and minute == 22:
            journal._db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
    people.submit(Refill(START_S, "window", "add", 12.0), _stamp(500))
    people.submit(Refill(START_S, "trout", "add", 7.0), _stamp(501))
    for suffix in SUFFIXES:
        shutil.copy(f"{source}{suffix}", f"{copy}{suffix}")
    people.close()
    journal.abandon()
    return copy


def known(journal: Journal) -> Known:
    """All that can be read. Raises JournalError."""
    entries: dict[int, Any] = {e.seq: (e.record, e.stamp) for e in journal.entries(limit=100_000)}
    for tank in _TANKS:
        by_time = list(journal.between(tank, 0.0, START_S + _LONG_S))
        newest = [e for kind in ("dose", "reading") for e in journal.latest(kind, tank, 9)]
        for entry in [*by_time, *newest]:
            entries.setdefault(entry.seq, (entry.record, entry.stamp))
            if entries[entry.seq] != (entry.record, entry.stamp):
                entries[-entry.seq] = "two readings of one row"
    return Known(
        entries,
        {i: (event, stamp) for i, event, stamp in journal.inbox()},
        {"mqtt": journal.cursor("mqtt")},
        {t: s for t in _TANKS if (s := journal.snapshot(t)) is not None},
        {f"fact-{m}": v for m in (8, 18, 28) if (v := journal.meta(f"fact-{m}")) is not None},
    )


def read(path: Path, *, read_only: bool) -> Known | None:
    """All of the journal at `path`; None when that ends with one sentence."""
    try:
        with Journal.open(path, read_only=read_only) as journal:
            return known(journal)
    except JournalError:
        return None


def places(origin: Path, count: int, seed: int) -> list[tuple[str, int]]:
    """Bits to flip, a third in each of the files: (suffix, number of the bit)."""
    chance = random.Random(seed)
    sizes = {suffix: Path(f"{origin}{suffix}").stat().st_size for suffix in SUFFIXES}
    return [
        (suffix, chance.randrange(8 * sizes[suffix]))
        for suffix in (SUFFIXES[number % 3] for number in range(count))
    ]


def copied(origin: Path, folder: Path) -> Path:
    """The journal at `origin` in the new `folder`."""
    folder.mkdir(parents=True)
    for suffix in SUFFIXES:
        shutil.copy(f"{origin}{suffix}", f"{folder / 'j.db'}{suffix}")
    return folder / "j.db"


def flip(path: Path, bit: int) -> None:
    """Flip one bit of a file."""
    with path.open("r+b") as file:
        file.seek(bit // 8)
        (byte,) = file.read(1)
        file.seek(bit // 8)
        file.write(bytes([byte ^ 1 << bit % 8]))


@dataclass
class Outcomes:
    """How often nothing was different, how often it was told, and where neither held; `kept`: how
    often all records were there in spite of damage that was told, `lost`: records in all."""

    counts: Counter[str]
    neither: list[str]
    kept: int = 0
    lost: int = 0


def judged(origin: Path, folder: Path, chosen: list[tuple[str, int]]) -> Outcomes:
    """Flip each of the bits in a copy of its own."""
    whole = read(copied(origin, folder / "whole"), read_only=False)
    assert whole is not None
    found = Outcomes(Counter(), [])
    for number, (suffix, bit) in enumerate(chosen):
        path = copied(origin, folder / str(number))
        flip(Path(f"{path}{suffix}"), bit)
        try:
            outcome = _outcome(path, whole, found)
        except Exception as error:  # noqa: BLE001 - any traceback is a failure of the program
            outcome = f"{type(error).__name__}: {error}"
        if outcome in ("identical", "told"):
            found.counts[outcome] += 1
        else:
            found.counts["neither"] += 1
            found.neither.append(f"bit {bit} of '{suffix}': {outcome}")
        shutil.rmtree(path.parent)
    shutil.rmtree(folder / "whole")
    return found


def _outcome(path: Path, whole: Known, found: Outcomes) -> str:
    before = read(path, read_only=True)
    taken = [stamp for _, stamp in whole.entries.values()]
    seen = surveyed(path, alone=True)
    mended = mend_if_damaged(path)
    if before is not None:  # what was taken since may be waiting in what SQLite reads of the log
        waiting = {i: w for i, w in before.inbox.items() if w[1] not in taken}
        if not whole.holds(replace(before, inbox=waiting)):
            return "a wrong value was read"
    if before is not None and mended is None and not whole.holds(before):
        return "a wrong value was read"
    if seen.is_sound != (mended is None):
        return f"seen as {seen.sentence() or 'sound'}, but mended: {mended}"
    if mend_if_damaged(path) is not None:
        return f"damaged still: {surveyed(path, alone=True).sentence()}"
    after = read(path, read_only=False)
    if after is None or not whole.holds(after):
        return "a wrong value was kept"
    if mended is None:
        return "identical" if after == before == whole else "something is lost and not told"
    found.kept += after == whole
    found.lost += len(whole.entries) - len(after.entries)
    lost_inbox = len(whole.inbox) - len(after.inbox)
    return "told" if lost_inbox in (0, 1) else "commands lost"
