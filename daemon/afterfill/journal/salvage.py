"""A new journal from what is sound in a damaged one.

Rows are looked for page by page (`pages.py`) and taken when their own checksum matches, whatever
has become of the schema, the tree and the indexes. Spans are made again, the tail's frames are
added, and numbers that then have no row are noted in `gap`.
"""

import json
import sqlite3
from collections import Counter
from collections.abc import Sequence
from contextlib import closing, suppress
from dataclasses import dataclass, field
from itertools import islice, product
from pathlib import Path
from typing import Any

from afterfill.errors import PayloadError
from afterfill.journal.block import Block
from afterfill.journal.blocks import blocks_of
from afterfill.journal.check import (
    FORM,
    JOURNAL_NAME,
    NUMBERED_AFTER,
    SCHEMA,
    UNCHECKED_UNTIL,
    Value,
    check_of,
    with_check,
)
from afterfill.journal.contents import Contents
from afterfill.journal.mark import Marks, marks_of, tag_in
from afterfill.journal.numbers import gaps
from afterfill.journal.pages import Cell, Pages
from afterfill.journal.tail import frames_anywhere, tag_of, tail_path

LOST = "lost to damage"
# By the number of columns; `span` is made again. Rows of older forms lack the last column.
_SMALL = {3: ("word", "cursor", "meta"), 4: ("inbox", "snapshot"), 5: ("gap",)}
_LARGE = {9: ("record", (4, 6, 7)), 10: ("record", (4, 6, 7)), 11: ("block", (3,))}
_OWN = {FORM, SCHEMA, UNCHECKED_UNTIL, NUMBERED_AFTER, JOURNAL_NAME}
_MOST_TRIES = 64


@dataclass
class Salvaged:
    """`kept`: rows by table; `missing`: numbers that have no row now and had no reason;
    `commands`: those that were submitted and are in no place any more."""

    kept: Counter[str] = field(default_factory=Counter)
    missing: int = 0
    commands: int = 0

    @property
    def records(self) -> int:
        """Rows and blocks that hold records."""
        return self.kept["record"] + self.kept["block"]


@dataclass
class _Found:
    """What the first look finds: the strings, the facts, and commands that may wait."""

    strings: dict[int, list[str]] = field(default_factory=dict)
    facts: dict[str, str] = field(default_factory=dict)
    cursors: dict[str, int] = field(default_factory=dict)
    sequences: Counter[str] = field(default_factory=Counter)
    inbox: dict[int, tuple[str, str]] = field(default_factory=dict)


def salvage(aside: Path, copy: Path, db: sqlite3.Connection) -> Salvaged:
    """Fill the new journal `db` at `copy` from the damaged one at `aside`, in one transaction.

    Raises sqlite3.Error or OSError; whatever the damaged files hold is no error.
    """
    done, contents = Salvaged(), Contents(copy, db)
    with closing(Pages(aside)) as pages:
        found = _first_look(pages)
        db.execute("BEGIN IMMEDIATE")
        _put_small(db, found, done)
        for cell in pages.cells():
            if cell.number is not None:
                _put_cell(db, cell, found, done)
    tag, marked = _name_and_marks(aside, found)
    last = _put_tail(contents, aside, tag, found, done)
    _put_inbox(db, found, marked.inbox, done)
    contents.blocks.spans.make_again()
    _account(contents, db, max(last, marked.record, found.sequences["record"]), done)
    db.execute("COMMIT")
    return done


# --- the first look ----------------------------------------------------------------------------


def _first_look(pages: Pages) -> _Found:
    found = _Found()
    for cell in pages.cells():
        if len(cell.columns) == 2:
            _note_pair(cell, found)
        elif cell.number is None and (again := _word_again(cell.columns)) is not None:
            text, number = again
            found.strings.setdefault(number, []).insert(0, text)
        elif (table := _small_table_of(cell)) is not None:
            _note_small(table, _with_number(cell, table), found)
    return found


def _note_pair(cell: Cell, found: _Found) -> None:
    """The last numbers of all, and the strings once more, in their index."""
    text, number = cell.columns
    if not isinstance(text, str) or not isinstance(number, int):
        return
    if cell.number is None:
        found.strings.setdefault(number, []).append(text)
    elif text in ("record", "inbox"):
        found.sequences[text] = max(found.sequences[text], number)


def _note_small(table: str, row: Sequence[Any], found: _Found) -> None:
    if table == "word":
        found.strings.setdefault(row[0], []).insert(0, row[1])
    elif table == "inbox":
        found.inbox[row[0]] = row[1], row[2]
    elif table == "cursor":
        found.cursors[row[0]] = max(row[1], found.cursors.get(row[0], 0))
    elif table == "meta":
        kept = found.facts.get(row[0], row[1])
        grows = row[0] == NUMBERED_AFTER
        found.facts[row[0]] = max(kept, row[1], key=int) if grows else row[1]


def _word_again(columns: Sequence[Value]) -> tuple[str, int] | None:
    """Text and number of an entry of the index that holds each word again, if its checksum fits."""
    match columns:
        case [str(text), check, int(number)] if check == check_of("word", (number, text)):
            return text, number
    return None


def _small_table_of(cell: Cell) -> str | None:
    """The table of a row that matches its checksum as it stands."""
    for table in _SMALL.get(len(cell.columns), ()):
        *values, crc = _with_number(cell, table)
        covered = values[1:] if table == "inbox" else values
        if crc is not None and crc == check_of(table, covered):
            return table
    return None


def _with_number(cell: Cell, table: str) -> list[Any]:
    """The columns, with the row's number where SQLite keeps it apart from them."""
    if table in ("cursor", "meta", "snapshot"):
        return list(cell.columns)
    return [cell.number, *cell.columns[1:]]


# --- into the new journal ----------------------------------------------------------------------


def _put_small(db: sqlite3.Connection, found: _Found, done: Salvaged) -> None:
    facts = {key: value for key, value in found.facts.items() if key not in _OWN}
    facts |= {key: found.facts.get(key, "0") for key in (UNCHECKED_UNTIL, NUMBERED_AFTER)}
    for fact in facts.items():
        db.execute("INSERT OR REPLACE INTO meta VALUES (?,?,?)", with_check("meta", fact))
    for cursor in found.cursors.items():
        db.execute("INSERT OR REPLACE INTO cursor VALUES (?,?,?)", with_check("cursor", cursor))
    for number, texts in found.strings.items():
        with suppress(UnicodeEncodeError):
            word = with_check("word", (number, texts[0]))
            db.execute("INSERT OR IGNORE INTO word VALUES (?,?,?)", word)
    done.kept["meta"], done.kept["cursor"] = len(facts), len(found.cursors)


def _put_cell(db: sqlite3.Connection, cell: Cell, found: _Found, done: Salvaged) -> None:
    """A row into its table, if it is sound and not there yet."""
    table = _small_table_of(cell)
    if table in ("gap", "snapshot"):
        row = _with_number(cell, table)
    else:
        table, row = _large_row(cell, found)
    if table:
        marks = ",".join("?" * len(row))
        query = f"INSERT OR IGNORE INTO {table} VALUES ({marks})"
        done.kept[table] += db.execute(query, row).rowcount


def _large_row(cell: Cell, found: _Found) -> tuple[str, list[Any]]:
    size = len(cell.columns)
    row = [cell.number, *cell.columns[1:]]
    if size in (9, 10) and isinstance(row[5], int):
        row[5] = float(row[5])  # as which SQLite stores a whole number in a column of floats
    if size in _LARGE and size != 9 and _matches(*_LARGE[size], row[:-1], row[-1], found):
        return _LARGE[size][0], row
    until = int(found.facts.get(UNCHECKED_UNTIL, "0"))
    if not isinstance(row[0], int) or row[0] > until:
        return "", row
    if size == 9 and _is_old_record(row, found):
        return "record", [*row, None]
    if size == 10 and _is_old_block(row, found):
        return "block", [*row, None]
    return "", row


def _matches(
    table: str, strings_at: Sequence[int], row: Sequence[Any], crc: Value, found: _Found
) -> bool:
    """Whether a row matches its checksum with some reading of its strings."""
    if any(not isinstance(row[at], int) or row[at] not in found.strings for at in strings_at):
        return False
    readings = product(*(found.strings[row[at]] for at in strings_at))
    for texts in islice(readings, _MOST_TRIES):
        covered = list(row)
        for at, text in zip(strings_at, texts, strict=True):
            covered[at] = text
        if crc == check_of(table, covered):
            return True
    return False


def _is_old_record(row: Sequence[Any], found: _Found) -> bool:
    """Rows of older forms have no checksum: what can be read is kept, as unchecked."""
    try:
        json.loads(row[8])
    except (TypeError, ValueError):
        return False
    numbers = all(isinstance(value, int | float) for value in row[:8])
    return numbers and all(row[at] in found.strings for at in (4, 6, 7))


def _is_old_block(row: Sequence[Any], found: _Found) -> bool:
    """zlib has a checksum of its own."""
    if row[3] not in found.strings or not isinstance(row[9], bytes):
        return False
    try:
        return bool(len(Block("", row[9], str).seqs) == row[4])
    except (PayloadError, TypeError):
        return False


def _name_and_marks(aside: Path, found: _Found) -> tuple[bytes | None, Marks]:
    """What names the journal in its tail, and the tail's marks."""
    name = found.facts.get(JOURNAL_NAME)
    tag = tag_of(bytes.fromhex(name)) if name is not None else tag_in(aside)
    return tag, marks_of(aside, tag) if tag is not None else Marks(0, 0)


def _put_tail(
    contents: Contents, aside: Path, tag: bytes | None, found: _Found, done: Salvaged
) -> int:
    """The blocks of the tail that are not in the database; the last number in it."""
    last = 0
    frames = frames_anywhere(tail_path(aside), tag) if tag is not None else []
    for frame in frames:
        there = contents.blocks.last_seq()
        blocks = [b for b in blocks_of(frame) if b.last_seq > there and b.tank in found.strings]
        contents.blocks.insert(blocks)
        done.kept["block"] += len(blocks)
        last = max([last, *(block.commit_last for block in blocks)])
    return last


def _put_inbox(db: sqlite3.Connection, found: _Found, marked: int, done: Salvaged) -> None:
    """Commands that wait: one that was taken has left a record with its stamp."""
    taken = (
        "SELECT 1 FROM record WHERE monotonic_s = ? AND time_ms + lag_ms = ?"
        " AND kind = (SELECT id FROM word WHERE text = ?)"
    )
    for number, (body, stamp) in found.inbox.items():
        time_s, _, _, monotonic_s = json.loads(stamp)
        values = monotonic_s, round(time_s * 1000), json.loads(body)["kind"]
        if db.execute(taken, values).fetchone() is None:
            crc = check_of("inbox", (body, stamp))
            db.execute("INSERT OR IGNORE INTO inbox VALUES (?,?,?,?)", (number, body, stamp, crc))
            done.kept["inbox"] += 1
    known = max([found.sequences["inbox"], *found.inbox])
    done.commands = max(0, marked - known)
    _set_sequence(db, "inbox", max(known, marked))


def _account(contents: Contents, db: sqlite3.Connection, last: int, done: Salvaged) -> None:
    """Say of the numbers without a row that they were lost, and give none of them again."""
    contents.forget()
    last = max(last, contents.view().last_seq)
    floor = int(contents.meta(NUMBERED_AFTER) or 0)
    told = "SELECT total(numbers) FROM gap WHERE last_seq BETWEEN ? AND ?"
    for gap in gaps(db, contents.blocks, floor, [], last):
        (known,) = db.execute(told, (gap.first_seq, gap.last_seq)).fetchone()
        missing = gap.numbers - int(known)
        if missing > 0:
            done.missing += missing
            same = "SELECT total(numbers) FROM gap WHERE last_seq = ?"
            (here,) = db.execute(same, (gap.last_seq,)).fetchone()
            row = with_check("gap", (gap.last_seq, gap.first_seq, missing + int(here), LOST))
            db.execute("INSERT OR REPLACE INTO gap VALUES (?,?,?,?,?)", row)
    _set_sequence(db, "record", last)


def _set_sequence(db: sqlite3.Connection, table: str, last: int) -> None:
    db.execute("DELETE FROM sqlite_sequence WHERE name = ?", (table,))
    db.execute("INSERT INTO sqlite_sequence VALUES (?,?)", (table, last))
