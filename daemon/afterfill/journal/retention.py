"""What a journal may forget: the old, and the oldest when it grows too large.

Blocks go whole: one goes when its last row may. Rows of the kinds that are kept never go: they are
few, and small.
"""

import sqlite3
from dataclasses import dataclass

from afterfill.journal.blocks import Blocks
from afterfill.journal.check import NUMBERED_AFTER, with_check
from afterfill.record_kinds import words_of

_CHUNK = 5000  # rows deleted in one transaction, so that others do not wait long
_CHUNK_BLOCKS = 50
_LAST = 1 << 62
_KEPT = ", ".join(f"'{word}'" for word in words_of(lambda kind: kind.kept))
_MAY_GO = f"kind NOT IN (SELECT id FROM word WHERE text IN ({_KEPT}))"


@dataclass(frozen=True, slots=True)
class Dropped:
    """What was dropped: `rows` in all; of these `undelivered` had not been passed by every
    cursor, and `unfolded` came after the newest snapshot of some tank. The last two happen only
    when the bound on bytes forces it."""

    rows: int = 0
    undelivered: int = 0
    unfolded: int = 0


def prune(
    db: sqlite3.Connection, blocks: Blocks, now_s: float, keep_days: float, max_mb: float
) -> Dropped:
    """Drop rows accepted more than `keep_days` before `now_s` [Unix s], then the oldest ones
    until the tables take at most `max_mb`.

    Call it only when the clock is synchronised: a clock that is years ahead makes all rows old.
    Rows stamped by an unsynchronised clock go with the synchronised ones that follow them.
    """
    by_age = min(_last_old(db, now_s - 86400 * keep_days), _barrier(db))
    rows = _delete_until(db, by_age)
    forced = Dropped()
    while used_bytes(db) > max_mb * 1e6 and (seq := _chunk_end(db)):
        forced = _added(forced, db, blocks, seq)
    db.execute("PRAGMA incremental_vacuum").fetchall()
    db.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchall()
    return Dropped(rows + forced.rows, forced.undelivered, forced.unfolded)


def _added(so_far: Dropped, db: sqlite3.Connection, blocks: Blocks, seq: int) -> Dropped:
    undelivered = _count(db, blocks, seq, "SELECT min(seq) FROM cursor")
    unfolded = _count(
        db, blocks, seq, "SELECT min(s) FROM (SELECT max(seq) s FROM snapshot GROUP BY tank)"
    )
    return Dropped(
        so_far.rows + _delete_until(db, seq),
        so_far.undelivered + undelivered,
        so_far.unfolded + unfolded,
    )


def _last_old(db: sqlite3.Connection, horizon_s: float) -> int:
    """The last row surely accepted before `horizon_s`, of those before the first young row."""
    horizon_ms = round(horizon_s * 1000)
    row = "SELECT seq FROM record WHERE synchronised AND time_ms + lag_ms >= ? ORDER BY seq LIMIT 1"
    block = "SELECT first_seq FROM block WHERE accepted_ms >= ? ORDER BY last_seq LIMIT 1"
    young = min(_one(db, row, horizon_ms, none=_LAST), _one(db, block, horizon_ms, none=_LAST))
    row = "SELECT seq FROM record WHERE synchronised AND seq < ? ORDER BY seq DESC LIMIT 1"
    block = (
        "SELECT last_seq FROM block WHERE accepted_ms IS NOT NULL AND last_seq < ?"
        " ORDER BY last_seq DESC LIMIT 1"
    )
    return max(_one(db, row, young), _one(db, block, young))


def _barrier(db: sqlite3.Connection) -> int:
    """The last row that every cursor has passed and no restart needs."""
    return _one(
        db,
        "SELECT min(s) FROM (SELECT seq s FROM cursor UNION ALL"
        " SELECT max(seq) FROM snapshot GROUP BY tank)",
        none=_LAST,
    )


def _count(db: sqlite3.Connection, blocks: Blocks, until: int, floor: str) -> int:
    """How many rows that go with `until` lie beyond the number that the query `floor` gives."""
    low = _one(db, floor, none=_LAST)
    own = f"SELECT count(*) FROM record WHERE seq > ? AND seq <= ? AND {_MAY_GO}"
    rows = _one(db, own, low, until)
    whole = "SELECT total(rows) FROM block WHERE last_seq > ? AND last_seq <= ? AND first_seq > ?"
    rows += _one(db, whole, low, until, low)
    part = "SELECT last_seq FROM block WHERE last_seq > ? AND last_seq <= ? AND first_seq <= ?"
    for (last_seq,) in db.execute(part, (low, until, low)).fetchall():
        block = blocks.at(last_seq)
        rows += sum(seq > low for seq in block.seqs) if block is not None else 0
    return rows


def _chunk_end(db: sqlite3.Connection) -> int:
    """A number up to which some of the oldest rows and blocks lie, 0 when there are none."""
    row = f"SELECT max(seq) FROM (SELECT seq FROM record WHERE {_MAY_GO} ORDER BY seq LIMIT ?)"
    block = "SELECT max(last_seq) FROM (SELECT last_seq FROM block ORDER BY last_seq LIMIT ?)"
    ends = _one(db, row, _CHUNK), _one(db, block, _CHUNK_BLOCKS)
    return min((end for end in ends if end), default=0)


def _delete_until(db: sqlite3.Connection, seq: int) -> int:
    gone = 0
    while True:
        end = min(seq, _chunk_end(db))
        deleted = _delete_chunk(db, end)
        gone += deleted
        if not deleted or end >= seq:
            return gone


def _delete_chunk(db: sqlite3.Connection, end: int) -> int:
    db.execute("BEGIN IMMEDIATE")
    try:
        _remember_number(db)
        deleted = db.execute(f"DELETE FROM record WHERE seq <= ? AND {_MAY_GO}", (end,)).rowcount
        deleted += _one(db, "SELECT total(rows) FROM block WHERE last_seq <= ?", end)
        db.execute("DELETE FROM block WHERE last_seq <= ?", (end,))
        db.execute("DELETE FROM span WHERE last_seq <= ?", (end,))
        _remember_floor(db, end)
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise
    return deleted


def _remember_floor(db: sqlite3.Connection, end: int) -> None:
    """Numbers up to `end` are not missed: they were dropped."""
    query = "SELECT max(value + 0) FROM meta WHERE key = ?"
    floor = max(end, _one(db, query, NUMBERED_AFTER))
    row = with_check("meta", (NUMBERED_AFTER, str(floor)))
    db.execute("INSERT OR REPLACE INTO meta VALUES (?,?,?)", row)
    db.execute("DELETE FROM gap WHERE last_seq <= ?", (floor,))
    db.execute(  # what came after them is no longer there
        "DELETE FROM snapshot WHERE seq < ? AND seq <"
        " (SELECT max(seq) FROM snapshot s WHERE s.tank = snapshot.tank)",
        (floor,),
    )


def _remember_number(db: sqlite3.Connection) -> None:
    """No number is given twice, also when the newest block is dropped."""
    last = _one(db, "SELECT max(last_seq) FROM block")
    known = _one(db, "SELECT seq FROM sqlite_sequence WHERE name = 'record'", none=-1)
    if known < 0:
        db.execute("INSERT INTO sqlite_sequence VALUES ('record', ?)", (last,))
    elif known < last:
        db.execute("UPDATE sqlite_sequence SET seq = ? WHERE name = 'record'", (last,))


def _one(db: sqlite3.Connection, query: str, *values: int | str, none: int = 0) -> int:
    row = db.execute(query, values).fetchone()
    return none if row is None or row[0] is None else int(row[0])


def used_bytes(db: sqlite3.Connection) -> int:
    """Bytes that the tables take, without free pages."""
    pages, free, size = (
        db.execute(f"PRAGMA {name}").fetchone()[0]
        for name in ("page_count", "freelist_count", "page_size")
    )
    return int((pages - free) * size)
