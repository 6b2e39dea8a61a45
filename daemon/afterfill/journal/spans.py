"""The table `span`: each row sums up the blocks of a tank in some 64 commits."""

import sqlite3
from collections.abc import Sequence
from itertools import groupby
from typing import Any

from afterfill.journal.check import with_check

_COMMITS = 64  # about an hour
_LAST = 1 << 62


class Spans:
    """The table through one connection. Raises sqlite3.Error."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db
        self._commits: int | None = None  # since the last spans

    def forget(self) -> None:
        """A transaction was rolled back, or blocks were dropped: remember nothing."""
        self._commits = None

    def end(self, stored: int) -> int:
        """The last number that a span with numbers up to `stored` tells of; 0 without any."""
        query = "SELECT max(last_seq) FROM span WHERE last_seq <= ?"
        return int(self._db.execute(query, (stored,)).fetchone()[0] or 0)

    def cut(self, commits: int) -> None:
        """Tell of what came since the last time, when `commits` more make it enough."""
        cut = self.end(_LAST)
        if self._commits is None:
            query = "SELECT count(DISTINCT commit_last) FROM block WHERE last_seq > ?"
            self._commits = int(self._db.execute(query, (cut,)).fetchone()[0]) - commits
        self._commits += commits
        if self._commits < _COMMITS:
            return
        blocks = self._db.execute(
            "SELECT tank, last_seq, first_seq, from_ms, to_ms, kinds FROM block"
            " WHERE last_seq > ? ORDER BY tank",
            (cut,),
        ).fetchall()
        self._insert(blocks)
        self._commits = 0

    def make_again(self) -> None:
        """Make all spans again."""
        query = (
            "SELECT commit_last, tank, last_seq, first_seq, from_ms, to_ms, kinds FROM block"
            " ORDER BY commit_last"
        )
        commits = groupby(self._db.execute(query).fetchall(), lambda row: row[0])
        some = list[Any]()
        for number, (_, blocks) in enumerate(commits, 1):
            some += [row[1:] for row in blocks]
            if number % _COMMITS == 0:
                self._insert(sorted(some))
                some = []
        self._commits = None

    def _insert(self, blocks: Sequence[Any]) -> None:
        spans = [_span(tank, list(ours)) for tank, ours in groupby(blocks, lambda row: row[0])]
        rows = [with_check("span", span) for span in spans]
        self._db.executemany("INSERT INTO span VALUES (?,?,?,?,?,?,?)", rows)


def _span(tank: int, blocks: Sequence[Any]) -> tuple[int, ...]:
    """One row for the blocks (tank, last, first, from, to, kinds) of a tank."""
    kinds = 0
    for block in blocks:
        kinds |= block[5]
    return (
        max(block[1] for block in blocks),
        min(block[2] for block in blocks),
        tank,
        min(block[3] for block in blocks),
        max(block[4] for block in blocks),
        kinds,
    )
