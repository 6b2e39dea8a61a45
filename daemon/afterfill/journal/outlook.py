"""When the bound on the journal's size will begin to drop what a sink has not delivered."""

import sqlite3

from afterfill.journal.retention import used_bytes

_DAY_S = 86400.0
_SHORTEST_S = 3600.0  # from less than an hour nobody foretells days
_MANY = 5000  # rows from whose times the rate of growth is taken


def undelivered_bytes(db: sqlite3.Connection, after: int) -> float:
    """Bytes [estimate] of the rows after number `after`."""
    rows, beyond = db.execute("SELECT count(*), total(seq > ?) FROM record", (after,)).fetchone()
    return float(used_bytes(db) * beyond / rows) if rows else 0.0


def days_until_lost(db: sqlite3.Connection, after: int, max_mb: float) -> float | None:
    """Days [d] until rows after `after` would be dropped if nothing is delivered; None if nobody
    can say. Growth is taken to go on as over the last rows of this boot."""
    rate = _bytes_a_day(db)
    left = max_mb * 1e6 - undelivered_bytes(db, after)
    return None if rate is None else max(0.0, left / rate)


def _bytes_a_day(db: sqlite3.Connection) -> float | None:
    rows = db.execute("SELECT count(*) FROM record").fetchone()[0]
    n, span_s = db.execute(
        "SELECT count(*), max(monotonic_s) - min(monotonic_s) FROM (SELECT monotonic_s, boot FROM"
        " record ORDER BY seq DESC LIMIT ?) WHERE boot ="
        " (SELECT boot FROM record ORDER BY seq DESC LIMIT 1)",
        (_MANY,),
    ).fetchone()
    if (span_s or 0.0) < _SHORTEST_S:
        return None
    return float(used_bytes(db) / rows * n / span_s * _DAY_S)
