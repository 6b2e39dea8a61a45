"""Which rows a journal may forget: the old ones, and the oldest ones when it grows too large."""

import sqlite3
from dataclasses import dataclass

_CHUNK = 5000  # rows deleted in one transaction, so that nobody waits long


@dataclass(frozen=True, slots=True)
class Dropped:
    """What was dropped: `rows` in all; of these `undelivered` had not been passed by every
    cursor, and `unfolded` came after the newest snapshot of some tank. The last two happen only
    when the bound on bytes forces it."""

    rows: int = 0
    undelivered: int = 0
    unfolded: int = 0


def prune(db: sqlite3.Connection, now_s: float, keep_days: float, max_mb: float) -> Dropped:
    """Drop rows accepted more than `keep_days` before `now_s` [Unix s], then the oldest ones
    until the tables take at most `max_mb`.

    Call it only when the clock is synchronised: a clock that is years ahead makes all rows old.
    Rows stamped by an unsynchronised clock go with the synchronised ones that follow them.
    """
    by_age = min(_last_old(db, now_s - 86400 * keep_days), _barrier(db))
    rows = _delete_until(db, by_age)
    forced = Dropped()
    while used_bytes(db) > max_mb * 1e6 and (seq := _nth_oldest(db, _CHUNK)):
        forced = _added(forced, db, seq)
    db.execute("PRAGMA incremental_vacuum").fetchall()
    db.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchall()
    return Dropped(rows + forced.rows, forced.undelivered, forced.unfolded)


def _added(so_far: Dropped, db: sqlite3.Connection, seq: int) -> Dropped:
    undelivered = _count(db, seq, "SELECT min(seq) FROM cursor")
    unfolded = _count(db, seq, "SELECT min(s) FROM (SELECT max(seq) s FROM snapshot GROUP BY tank)")
    return Dropped(
        so_far.rows + _delete_until(db, seq),
        so_far.undelivered + undelivered,
        so_far.unfolded + unfolded,
    )


def _last_old(db: sqlite3.Connection, horizon_s: float) -> int:
    """The last row surely accepted before `horizon_s`, of those before the first young row."""
    young = db.execute(
        "SELECT seq FROM record WHERE synchronised AND time_ms + lag_ms >= ? ORDER BY seq LIMIT 1",
        (round(horizon_s * 1000),),
    ).fetchone()
    query = "SELECT seq FROM record WHERE synchronised AND seq < ? ORDER BY seq DESC LIMIT 1"
    old = db.execute(query, (young[0] if young else 1 << 62,)).fetchone()
    return int(old[0]) if old else 0


def _barrier(db: sqlite3.Connection) -> int:
    """The last row that every cursor has passed and no restart needs."""
    return int(
        db.execute(
            "SELECT coalesce(min(s), 1 << 62) FROM (SELECT seq s FROM cursor UNION ALL"
            " SELECT max(seq) FROM snapshot GROUP BY tank)"
        ).fetchone()[0]
    )


def _count(db: sqlite3.Connection, until: int, floor: str) -> int:
    """How many rows up to `until` lie beyond the number that the query `floor` gives."""
    low = db.execute(floor).fetchone()[0]
    if low is None:
        return 0
    query = "SELECT count(*) FROM record WHERE seq > ? AND seq <= ?"
    return int(db.execute(query, (low, until)).fetchone()[0])


def _nth_oldest(db: sqlite3.Connection, n: int) -> int:
    query = "SELECT max(seq) FROM (SELECT seq FROM record ORDER BY seq LIMIT ?)"
    return int(db.execute(query, (n,)).fetchone()[0] or 0)


def _delete_until(db: sqlite3.Connection, seq: int) -> int:
    gone = 0
    while True:
        chunk_end = min(seq, _nth_oldest(db, _CHUNK))
        deleted = db.execute("DELETE FROM record WHERE seq <= ?", (chunk_end,)).rowcount
        gone += deleted
        if not deleted or chunk_end >= seq:
            return gone


def used_bytes(db: sqlite3.Connection) -> int:
    """Bytes that the tables take, without free pages."""
    pages, free, size = (
        db.execute(f"PRAGMA {name}").fetchone()[0]
        for name in ("page_count", "freelist_count", "page_size")
    )
    return int((pages - free) * size)
