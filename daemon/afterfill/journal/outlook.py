"""When the bound on the journal's size will begin to drop what a sink has not delivered."""

import sqlite3
from dataclasses import dataclass

from afterfill.journal.block import Block
from afterfill.journal.blocks import Blocks

_DAY_S = 86400.0
_SHORTEST_S = 3600.0  # less than an hour foretells no days
_STEPS_BACK = (60, 120, 240, 500, 1000, 2000, 4000, 8000, 16_000)  # blocks
# Bytes that a row takes beside its body, in its page and the indexes; pages are not quite full.
# Measured with pages of 1 kB.
_BESIDE_BLOCK, _BESIDE_ROW, _PAGES_PER_CONTENT = 50, 70, 1.25


@dataclass(frozen=True, slots=True)
class _Recent:
    """What was written lately: `size` [bytes] for `numbers` records in `seconds` [s]."""

    size: float
    numbers: int
    seconds: float


def days_until_lost(
    db: sqlite3.Connection, blocks: Blocks, after: int, max_mb: float
) -> float | None:
    """Days [d] until rows after `after` would be dropped if nothing is delivered; None if that
    cannot be said. Growth is taken to go on as over the last hours of this boot."""
    recent = _recent(db, blocks)
    if recent is None:
        return None
    (oldest,) = db.execute("SELECT first_seq FROM block ORDER BY last_seq LIMIT 1").fetchone()
    in_blocks = max(0, blocks.last_seq() - max(after, int(oldest) - 1))
    undelivered = recent.size / recent.numbers * in_blocks + _row_bytes(db, after)
    return max(0.0, (max_mb * 1e6 - undelivered) / (recent.size / recent.seconds * _DAY_S))


def _recent(db: sqlite3.Connection, blocks: Blocks) -> _Recent | None:
    newest = blocks.at(blocks.last_seq())
    if newest is None:
        return None
    now = newest.stamp(-1)
    for steps in _STEPS_BACK:
        old = _back(db, blocks, steps)
        if old is None or old.stamp(0).boot_id != now.boot_id:
            return None
        seconds = now.monotonic_s - old.stamp(0).monotonic_s
        if seconds >= _SHORTEST_S:
            size = _block_bytes(db, old.seqs[-1]) + _row_bytes(db, old.seqs[-1])
            return _Recent(size, newest.seqs[-1] - old.seqs[0] + 1, seconds)
    return None


def _back(db: sqlite3.Connection, blocks: Blocks, steps: int) -> Block | None:
    """The block `steps` before the newest, or else the oldest."""
    query = "SELECT min(last_seq) FROM (SELECT last_seq FROM block ORDER BY last_seq DESC LIMIT ?)"
    return blocks.at(db.execute(query, (steps,)).fetchone()[0])


def _block_bytes(db: sqlite3.Connection, begin: int) -> float:
    query = "SELECT total(length(body) + ?) FROM block WHERE last_seq >= ?"
    return _PAGES_PER_CONTENT * float(db.execute(query, (_BESIDE_BLOCK, begin)).fetchone()[0])


def _row_bytes(db: sqlite3.Connection, after: int) -> float:
    query = "SELECT total(length(body) + ?) FROM record WHERE seq > ?"
    return _PAGES_PER_CONTENT * float(db.execute(query, (_BESIDE_ROW, after)).fetchone()[0])
