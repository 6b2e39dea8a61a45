"""Reads all of a journal and says what is sound, what is damaged and what is missing."""

import sqlite3
import time
from collections import Counter
from collections.abc import Callable, Mapping, Set
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import quote

from afterfill.errors import JournalError
from afterfill.journal.blocks import Packed
from afterfill.journal.check import (
    CHECKED_FORM,
    FORM,
    NUMBERED_AFTER,
    SCHEMA,
    Damaged,
    lenient,
    schema_check,
)
from afterfill.journal.contents import Contents, last_numbered
from afterfill.journal.mark import Marks, marks
from afterfill.journal.numbers import gaps
from afterfill.journal.rows import COLUMNS, with_strings
from afterfill.journal.wal import read_log

_BUSY_S = 10.0
_TRIES, _PAUSE_S = 5, 0.1  # beside a service that may write at any moment
_WITHOUT_CHECKSUMS = "its form has no checksums; the next start of the service adds them"
_KNOWN = "SELECT count(*) FROM block WHERE known(last_seq)"
# What is covered in each table, and by which column a row is named.
_PLAIN: Mapping[str, tuple[str, str]] = {
    "word": ("id, text", "id"),
    "inbox": ("body, stamp", "id"),
    "cursor": ("name, seq", "name"),
    "snapshot": ("tank, seq, state", "rowid"),
    "meta": ("key, value", "key"),
    "span": ("last_seq, first_seq, tank, from_ms, to_ms, kinds", "last_seq"),
    "gap": ("last_seq, first_seq, numbers, why", "last_seq"),
}


@dataclass
class Survey:
    """`sound` and `damaged`: rows by table (`damaged` also commands of which only the mark is
    left); `unchecked`: rows of older forms; `missing`: numbers without a row or a reason;
    `explained`: those with one; `tail`, `log`: damaged places of these files; `structure`: what is
    wrong with the database itself. Of a journal without checksums only that is known, of a newer
    version's nothing."""

    form: int = 0
    sound: Counter[str] = field(default_factory=Counter)
    damaged: Counter[str] = field(default_factory=Counter)
    unchecked: int = 0
    missing: int = 0
    explained: dict[str, int] = field(default_factory=dict)
    tail: int = 0
    log: int = 0
    structure: str = ""

    @property
    def is_sound(self) -> bool:
        """Whether all is as it was written."""
        return not (self.structure or self.damaged.total() or self.missing or self.tail or self.log)

    @property
    def unreadable(self) -> int:
        """Records and blocks of them that are damaged, and records that are missing."""
        return self.damaged["record"] + self.damaged["block"] + self.missing

    def lines(self) -> list[str]:
        """What was found, for a person."""
        rows = self.sound.total() - self.unchecked
        said = [f"{rows} rows are sound" if self.form >= CHECKED_FORM else _WITHOUT_CHECKSUMS]
        if self.unchecked:
            said.append(f"{self.unchecked} rows are unchecked: an older version wrote them")
        said += [f"{n} records are missing: {why}" for why, n in sorted(self.explained.items())]
        if not self.is_sound:
            said.append(f"damaged: {self.sentence()}")
        return said

    def wire(self) -> dict[str, object]:
        """The same for a program."""
        return {
            "kind": "journal-check", "sound": self.is_sound, "form": self.form,
            "rows": dict(self.sound), "unchecked": self.unchecked, "damaged": dict(self.damaged),
            "missing": self.missing, "explained": self.explained, "tail": self.tail,
            "log": self.log, "structure": self.structure or None,
        }  # fmt: skip

    def sentence(self) -> str:
        """What is wrong, in a few words; empty when nothing is."""
        said = [self.structure] if self.structure else []
        said += [f"{n} rows of '{table}' damaged" for table, n in sorted(self.damaged.items())]
        said += [f"{self.missing} records missing"] if self.missing else []
        said += [f"{self.tail} damaged places in the tail"] if self.tail else []
        said += [f"{self.log} damaged frames in the log"] if self.log else []
        return ", ".join(said)


def surveyed(path: Path, *, alone: bool, known: Set[int] = frozenset()) -> Survey:
    """All of the journal at `path`; `alone`: no other process has it open, so that the log can be
    read beside SQLite; `known`: last numbers of blocks that were found sound just now, and are not
    read again. Raises JournalError when it cannot be opened now."""
    found = _surveyed(path, known, alone=alone)
    for _ in range(0 if alone else _TRIES - 1):
        if found.is_sound:
            break  # else the service may have written meanwhile: damage stays
        time.sleep(_PAUSE_S)
        found = _surveyed(path, known, alone=alone)
    return found


def _surveyed(path: Path, known: Set[int], *, alone: bool) -> Survey:
    found = Survey()
    if alone and (log_path := Path(f"{path}-wal")).exists():
        log = read_log(log_path.read_bytes())
        found.log = log.mended + log.damaged
    uri = f"file:{quote(str(path.absolute()))}?mode=ro"
    try:
        with closing(sqlite3.connect(uri, uri=True, timeout=_BUSY_S, isolation_level=None)) as db:
            db.text_factory = lenient
            db.create_function("known", 1, known.__contains__)
            _look(path, db, found)
    except sqlite3.OperationalError as error:
        if any(word in str(error) for word in ("locked", "unable to open", "disk I/O", "readonly")):
            raise JournalError(f"the journal {path} cannot be read now: {error}") from error
        found.structure = str(error)
    except (sqlite3.Error, UnicodeDecodeError, OverflowError) as error:
        found.structure = str(error)
    return found


def _look(path: Path, db: sqlite3.Connection, found: Survey) -> None:
    found.form = db.execute("PRAGMA user_version").fetchone()[0]
    check = "integrity_check(1)" if found.form >= CHECKED_FORM else "quick_check(1)"
    said = str(db.execute(f"PRAGMA {check}").fetchone()[0])
    if said != "ok":
        found.structure = said.replace("\n", " ")
    contents = Contents(path, db)
    try:
        if found.form > CHECKED_FORM and _is_newer(contents):
            found.structure = ""
            return
        if found.form < CHECKED_FORM and not _was_checked(db):
            return
        name = contents.name
        mark = marks(path, name) if name is not None else Marks(0, 0)  # before what they speak of
        db.execute("BEGIN")  # one moment for all that follows
        _facts(contents, db, found)
        for table in _PLAIN:
            _plain(contents, db, table, found)
        _records(contents, db, found)
        _blocks(contents, db, found)
        found.tail = contents.search_tail()
        _numbers(contents, db, mark, found)
    finally:
        contents.close()


def _is_newer(contents: Contents) -> bool:
    """Whether a newer version wrote it, as opposed to a flipped bit in its head."""
    try:
        return contents.meta(FORM) != str(CHECKED_FORM)
    except sqlite3.Error:
        return True


def _was_checked(db: sqlite3.Connection) -> bool:
    """Whether a journal of this form calls itself an older one: a flipped bit in its head."""
    return bool(db.execute("SELECT count(*) FROM sqlite_master WHERE name = 'gap'").fetchone()[0])


def _facts(contents: Contents, db: sqlite3.Connection, found: Survey) -> None:
    if contents.meta(FORM) != str(found.form):
        found.structure = found.structure or "the form in its head is not that in its table"
    if contents.meta(SCHEMA) != schema_check(db):
        found.structure = found.structure or "its schema is not as it was made"


def _plain(contents: Contents, db: sqlite3.Connection, table: str, found: Survey) -> None:
    covered, key = _PLAIN[table]
    for name, *values, crc in db.execute(f"SELECT {key}, {covered}, crc FROM {table} NOT INDEXED"):
        _count(found, table, contents.checks.hold(table, name, values, crc))


def _records(contents: Contents, db: sqlite3.Connection, found: Survey) -> None:
    def is_sound(columns: list[object], crc: int | None) -> bool:
        try:
            covered = with_strings(columns, contents.strings, contents.checks)
        except Damaged:
            return False
        return contents.checks.hold("record", covered[0], covered, crc, covered[0])

    _counted(db, f"SELECT {COLUMNS}, r.crc FROM record r NOT INDEXED", "record", is_sound, found)


def _blocks(contents: Contents, db: sqlite3.Connection, found: Survey) -> None:
    def is_sound(columns: list[object], crc: int | None) -> bool:
        return contents.blocks.is_sound(Packed._make(columns), crc)

    query = (
        "SELECT last_seq, first_seq, commit_last, tank, rows, from_ms, to_ms, accepted_ms, kinds,"
        " body, crc FROM block WHERE NOT known(last_seq)"
    )
    found.sound["block"] += db.execute(_KNOWN).fetchone()[0]
    _counted(db, query, "block", is_sound, found)


def _counted(
    db: sqlite3.Connection,
    query: str,
    table: str,
    is_sound: Callable[[list[object], int | None], bool],
    found: Survey,
) -> None:
    for *columns, crc in db.execute(query):
        sound = is_sound(columns, crc)
        found.unchecked += sound and crc is None
        _count(found, table, sound)


def _count(found: Survey, table: str, sound: bool) -> None:
    (found.sound if sound else found.damaged)[table] += 1


def _numbers(contents: Contents, db: sqlite3.Connection, mark: Marks, found: Survey) -> None:
    floor = int(contents.meta(NUMBERED_AFTER) or 0)
    view = contents.view()
    last = max(view.last_seq, mark.record)
    empty = gaps(db, contents.blocks, floor, list(view.tail), last)
    query = "SELECT why, sum(numbers) FROM gap WHERE last_seq > ? GROUP BY why"
    found.explained = dict(db.execute(query, (floor,)).fetchall())
    found.missing = max(0, sum(gap.numbers for gap in empty) - sum(found.explained.values()))
    lost = mark.inbox - last_numbered(db, "inbox")
    if lost > 0:
        found.damaged["inbox"] += lost
