"""Whether every number that was given has a row: what is missing without a reason was lost."""

import sqlite3
from collections.abc import Iterator
from typing import NamedTuple

from afterfill.journal.blocks import Blocks, Packed


class Gap(NamedTuple):
    """`numbers` of those from `first_seq` to `last_seq` have no row."""

    last_seq: int
    first_seq: int
    numbers: int


def gaps(
    db: sqlite3.Connection, blocks: Blocks, floor: int, view: list[Packed], last: int
) -> list[Gap]:
    """Where numbers in (`floor`, `last`] have no row, in order; `view`: the blocks of the tail.

    What was committed together is looked at together: its blocks may interleave.
    """
    found, after = [], floor
    for first, end, rows in _commits(db, blocks, floor, view):
        if first > after + 1:
            found.append(Gap(first - 1, after + 1, first - 1 - after))
            after = first - 1
        held = max(0, end - after)
        if rows < held:
            found.append(Gap(end, after + 1, held - rows))
        after = max(after, end)
    if last > after:
        found.append(Gap(last, after + 1, last - after))
    return found


def _commits(
    db: sqlite3.Connection, blocks: Blocks, floor: int, view: list[Packed]
) -> Iterator[tuple[int, int, int]]:
    """First number, last number and how many have a row, of each commit with blocks and of each
    row between commits."""
    rare = (
        row[0] for row in db.execute("SELECT seq FROM record WHERE seq > ? ORDER BY seq", (floor,))
    )
    number = next(rare, None)
    for first, end, rows in _blocks(db, blocks, floor, view):
        while number is not None and number < first:
            yield number, number, 1
            number = next(rare, None)
        held = rows
        while number is not None and number <= end:
            held += 1
            number = next(rare, None)
        yield first, end, held
    while number is not None:
        yield number, number, 1
        number = next(rare, None)


def _blocks(
    db: sqlite3.Connection, blocks: Blocks, floor: int, view: list[Packed]
) -> Iterator[tuple[int, int, int]]:
    """First number, last block's last number and rows, of the blocks of each commit."""
    query = (
        "SELECT commit_last, min(first_seq), max(last_seq), sum(rows) FROM block"
        " WHERE last_seq > ? AND typeof(commit_last) = 'integer' AND typeof(rows) = 'integer'"
        " AND typeof(first_seq) = 'integer' GROUP BY commit_last ORDER BY commit_last"
    )
    tail: dict[int, list[Packed]] = {}
    for block in view:
        tail.setdefault(block.commit_last, []).append(block)
    rows = [*db.execute(query, (floor,)).fetchall()]
    rows += [
        (n, min(b.first_seq for b in of), max(b.last_seq for b in of), sum(b.rows for b in of))
        for n, of in sorted(tail.items())
    ]
    for number, first, last, held in rows:
        if first > floor:
            yield first, last, held
        else:
            yield floor + 1, last, _beyond(db, blocks, floor, number)


def _beyond(db: sqlite3.Connection, blocks: Blocks, floor: int, commit_last: int) -> int:
    """How many rows of a commit's blocks have numbers beyond `floor`."""
    query = "SELECT last_seq FROM block WHERE commit_last = ? AND last_seq > ?"
    found = 0
    for (last,) in db.execute(query, (commit_last, floor)).fetchall():
        block = blocks.at(last)
        found += 0 if block is None else sum(seq > floor for seq in block.seqs)
    return found
