"""What comes all the time: blocks, in the tables `block` and `span` and in the tail.

A row per reading would cost an SD card 330 bytes, since each commit writes the last page of every
table and index again. So a block has no index but its number; each 64 commits one row of `span`
for each tank tells which times and kinds its blocks hold, and finds them as an index would.
Blocks of one commit may interleave in their numbers (several tanks), those of two never do.
"""

import json
import sqlite3
from bisect import bisect_left
from collections.abc import Collection, Iterable, Iterator, Sequence
from heapq import heapify, heappop, heappush
from typing import Any, NamedTuple

from afterfill.errors import PayloadError
from afterfill.journal.block import ALL_BITS, Block, Row, bits_of, blob_of, kinds_in
from afterfill.journal.check import Checks, Damaged, check_of
from afterfill.journal.codec import compact
from afterfill.journal.entry import Source
from afterfill.journal.spans import Spans
from afterfill.journal.strings import Strings

_MOST_ROWS = 1000  # of one block: pruning drops whole blocks, and a reader unpacks whole ones
_LAST = 1 << 62
_SPAN, _BLOCK, _ROW = range(3)
_COLUMNS = "last_seq, first_seq, commit_last, tank, rows, from_ms, to_ms, accepted_ms, kinds, body"
_MARKS = "?,?,?,?,?,?,?,?,?,?,?"

Found = tuple[int, Block, int]  # number, block, index in it
Timed = tuple[int, int, Source, int]  # time [ms], number, source, index in it


class Packed(NamedTuple):
    """A row of the table `block`: its numbers, its tank, and what can be asked of it unopened."""

    last_seq: int
    first_seq: int
    commit_last: int
    tank: int
    rows: int
    from_ms: int
    to_ms: int
    accepted_ms: int | None  # the latest, of those by a synchronised clock
    kinds: int
    body: bytes


class View(NamedTuple):
    """What is committed at one moment: the database up to `stored`, then the tail's blocks."""

    stored: int
    tail: Sequence[Packed]

    @property
    def last_seq(self) -> int:
        """The newest number."""
        return self.tail[-1].commit_last if self.tail else self.stored


def frame_of(blocks: Sequence[Packed]) -> bytes:
    """The blocks of one commit as a frame of the tail."""
    columns = [[*block[:-1], len(block.body)] for block in blocks]
    return b"\n".join([compact(columns).encode(), b"".join(block.body for block in blocks)])


def blocks_of(frame: bytes) -> list[Packed]:
    """The blocks of a frame that `frame_of` made."""
    head, bodies = frame.split(b"\n", 1)
    found, begin = [], 0
    for *columns, size in json.loads(head):
        found.append(Packed._make([*columns, bodies[begin : begin + size]]))
        begin += size
    return found


class _Group(NamedTuple):
    """What one commit left, as far as it was asked for: all numbers in (after, last]."""

    asked: tuple[str | None, frozenset[str] | None]
    after: int
    last: int
    rows: list[Found]


class Blocks:
    """The tables through one connection. Raises sqlite3.Error."""

    def __init__(self, db: sqlite3.Connection, strings: Strings, checks: Checks) -> None:
        self.undecodable = 0  # blocks skipped because a newer version wrote them
        self._db, self._strings, self._checks = db, strings, checks
        self.spans = Spans(db)
        self._there = False
        self._group: _Group | None = None  # the last one read: sinks read it piece by piece

    def packed(self, rows: Iterable[Row], commit_last: int) -> list[Packed]:
        """The rows of one commit, whose last number is `commit_last`, as blocks."""
        by_tank: dict[str, list[Row]] = {}
        for row in rows:
            by_tank.setdefault(row.record.tank, []).append(row)
        found = [
            _packed(tank, ours[start : start + _MOST_ROWS], commit_last, self._strings)
            for tank, ours in by_tank.items()
            for start in range(0, len(ours), _MOST_ROWS)
        ]
        return sorted(found)

    def add(self, blocks: Sequence[Packed]) -> None:
        """Insert the blocks of one commit or several; in a transaction."""
        if blocks:
            self.insert(blocks)
            self.spans.cut(len({block.commit_last for block in blocks}))

    def insert(self, blocks: Sequence[Packed]) -> None:
        """Insert blocks and leave the spans as they are."""
        rows = [(*block, check_of("block", self.covered(block))) for block in blocks]
        self._db.executemany(f"INSERT INTO block ({_COLUMNS}, crc) VALUES ({_MARKS})", rows)

    def forget(self) -> None:
        """A transaction was rolled back, or blocks were dropped: remember nothing."""
        self._group = None
        self.spans.forget()

    def last_seq(self) -> int:
        """The last number of the newest block in the database, 0 when there is none."""
        return int(self._one("SELECT max(last_seq) FROM block") or 0) if self.readable() else 0

    # --- reading -----------------------------------------------------------------------------

    def after(
        self,
        view: View,
        after: int,
        last: int,
        kinds: Collection[str] | None,
        tank: str | None,
    ) -> Iterator[Found]:
        """What has `after` < number <= `last`, in order."""
        if not self._may_hold(kinds):
            return
        asked = tank, None if kinds is None else frozenset(kinds)
        while after < last and (group := self._group_after(view, after, asked)) is not None:
            for found in group.rows[bisect_left(group.rows, (after + 1,)) :]:
                if found[0] > last:
                    return
                yield found
            after = group.last

    def _group_after(
        self, view: View, after: int, asked: tuple[str | None, frozenset[str] | None]
    ) -> _Group | None:
        kept = self._group
        if kept is not None and kept.asked == asked and kept.after <= after < kept.last:
            return kept
        tank, kinds = asked
        found, last = self._stored_after(view, after, kinds, tank)
        if last is None:
            found = self._in_tail([b for b in view.tail if b.last_seq > after], kinds, tank)
            if not found:
                return None
            last = found[0].commit_last
        blocks = self._opened([block for block in found if block.commit_last == last])
        rows = [(b.seqs[i], b, i) for b in blocks for i in b.indices(kinds)]
        rows.sort(key=lambda row: row[0])
        self._group = _Group(asked, after, last, rows)
        return self._group

    def _stored_after(
        self, view: View, after: int, kinds: Collection[str] | None, tank: str | None
    ) -> tuple[list[Packed], int | None]:
        """The sound blocks of the next commit, and its last number; None when there is none."""
        where, values = self._filter(kinds, tank)
        while True:
            query = f"SELECT last_seq FROM block WHERE last_seq > ? AND last_seq <= ?{where}"
            number = self._one(f"{query} ORDER BY last_seq LIMIT 1", after, view.stored, *values)
            if number is None:
                return [], None
            if first := self._numbered(number):
                break
            after = number  # damaged: its commit's number cannot be believed
        last = first[0].commit_last
        bounds = f"last_seq > ? AND last_seq <= ?{where}"
        found = self._select(f"{bounds} ORDER BY last_seq", after, last, *values)
        return found, last

    def between(
        self,
        view: View,
        tank: str,
        from_ms: int,
        to_ms: int,
        kinds: Collection[str] | None,
        rare: Iterator[Timed],
    ) -> Iterator[Packed | Timed]:
        """Blocks and `rare` at times [ms] in [from_ms, to_ms), in order of time and number.

        A block comes whole when nothing else lies in its time and all its times are wanted. A span
        is opened when its first time is reached, and so is a block: little is held.
        """
        heap: list[tuple[Any, ...]] = []
        _push(heap, rare)
        if self._may_hold(kinds):
            heap += self._heads(view, tank, from_ms, to_ms, kinds)
        heapify(heap)
        where, values = self._within(tank, from_ms, to_ms, kinds)
        where = f"last_seq BETWEEN ? AND ?{where}"
        while heap:
            time_ms, what, number, *rest = heappop(heap)
            if what == _SPAN:
                for block in self._select(where, rest[0], number, *values):
                    heappush(heap, (block.from_ms, _BLOCK, block.last_seq, block))
            elif what == _ROW:
                _, source, index, more = rest
                yield time_ms, number, source, index
                _push(heap, more)
            elif _is_apart(block := rest[0], from_ms, to_ms, heap):
                yield block
            else:
                _push(heap, iter(self._rows_between(block, from_ms, to_ms, kinds)))

    def _within(
        self, tank: str, from_ms: int, to_ms: int, kinds: Collection[str] | None
    ) -> tuple[str, list[object]]:
        where, values = self._filter(kinds, tank)
        return f" AND to_ms >= ? AND from_ms < ?{where}", [from_ms, to_ms, *values]

    def _heads(
        self, view: View, tank: str, from_ms: int, to_ms: int, kinds: Collection[str] | None
    ) -> Iterator[tuple[Any, ...]]:
        """Spans, the blocks since them, and the blocks of the tail, as `between` keeps them."""
        where, values = self._within(tank, from_ms, to_ms, kinds)
        cut = self.spans.end(view.stored)
        spans = f"SELECT from_ms, last_seq, first_seq FROM span WHERE last_seq <= ?{where}"
        for begin, last, first in self._all(spans, cut, *values):
            yield begin, _SPAN, last, first
        yield -_LAST, _SPAN, view.stored, cut + 1
        for block in self._in_tail(view.tail, kinds, tank):
            yield block.from_ms, _BLOCK, block.last_seq, block

    def _rows_between(
        self, packed: Packed, from_ms: int, to_ms: int, kinds: Collection[str] | None
    ) -> list[Timed]:
        return [row for row in self.rows_of(packed, kinds) if from_ms <= row[0] < to_ms]

    def rows_of(self, packed: Packed, kinds: Collection[str] | None) -> list[Timed]:
        """The rows of a block, in order of time and number; none when it cannot be read."""
        rows: list[Timed] = [
            (block.times_ms[index], block.seqs[index], block, index)
            for block in self._opened([packed])
            for index in block.indices(kinds)
        ]
        return sorted(rows, key=lambda row: row[:2])

    def newest(self, view: View, kind: str, tank: str) -> Iterator[Found]:
        """What a tank has of a kind, the newest first."""
        if not self._may_hold([kind]):
            return
        for packed in self._newest(view, kind, tank):
            for block in self._opened([packed]):
                for index in reversed(block.indices([kind])):
                    yield block.seqs[index], block, index

    def _newest(self, view: View, kind: str, tank: str) -> Iterator[Packed]:
        yield from reversed(self._in_tail(view.tail, [kind], tank))
        where, values = self._filter([kind], tank)
        cut = self.spans.end(view.stored)
        spans = f"SELECT first_seq, last_seq FROM span WHERE last_seq <= ?{where}"
        ranges = self._all(f"{spans} ORDER BY last_seq DESC", cut, *values)
        for first, last in [(cut + 1, view.stored), *ranges]:
            numbers = f"SELECT last_seq FROM block WHERE last_seq BETWEEN ? AND ?{where}"
            for (number,) in self._all(f"{numbers} ORDER BY last_seq DESC", first, last, *values):
                yield from self._numbered(number)

    def at(self, last_seq: int) -> Block | None:
        """The stored block with this last number; None when there is none that can be read."""
        return next(iter(self._opened(self._numbered(last_seq))), None)

    def _numbered(self, last_seq: int) -> list[Packed]:
        return self._select("last_seq = ?", last_seq)

    def _select(self, where: str, *values: object) -> list[Packed]:
        query = f"SELECT {_COLUMNS}, {self._checks.column} FROM block WHERE {where}"
        found = [(Packed._make(row[:-1]), row[-1]) for row in self._all(query, *values)]
        return [block for block, crc in found if self.is_sound(block, crc)]

    def is_sound(self, block: Packed, crc: int | None) -> bool:
        """Whether a stored block matches its checksum; one that does not is noted."""
        try:
            covered = self.covered(block)
        except Damaged:
            self._checks.note("block", block.last_seq)
            return False
        return self._checks.hold("block", block.last_seq, covered, crc, block.last_seq)

    def covered(self, block: Packed) -> tuple[Any, ...]:
        """What a block's checksum covers. Raises Damaged when the tank's name cannot be read."""
        return (*block[:3], self._strings.text(block.tank), *block[4:])

    def _in_tail(
        self, tail: Sequence[Packed], kinds: Collection[str] | None, tank: str | None
    ) -> list[Packed]:
        bits = ALL_BITS if kinds is None else bits_of(kinds)
        wanted = [block for block in tail if block.kinds & bits]
        return [b for b in wanted if tank is None or self._is_of(b, tank)]

    def _is_of(self, block: Packed, tank: str) -> bool:
        try:
            return self._strings.text(block.tank) == tank
        except Damaged:
            return False

    def _opened(self, packed: Iterable[Packed]) -> list[Block]:
        found = []
        for block in packed:
            try:
                found.append(Block(self._strings.text(block.tank), block.body, self._strings.text))
            except Damaged:
                self._checks.note("block", block.last_seq)
            except PayloadError:
                self.undecodable += 1
        return found

    def _may_hold(self, kinds: Collection[str] | None) -> bool:
        return (kinds is None or bits_of(kinds) != 0) and self.readable()

    def readable(self) -> bool:
        """Whether the tables are there: a journal of an older form may be read before it is
        brought up."""
        if not self._there:
            self._there = self._one("PRAGMA user_version") >= 3
        return self._there

    def _filter(self, kinds: Collection[str] | None, tank: str | None) -> tuple[str, list[object]]:
        bits = ALL_BITS if kinds is None else bits_of(kinds)
        where, values = ("", []) if kinds is None else (" AND kinds & ?", [bits])
        if tank is not None:
            where += " AND tank = (SELECT id FROM word WHERE text = ?)"
        return where, [*values, *([] if tank is None else [tank])]

    def _all(self, query: str, *values: object) -> list[Any]:
        return self._db.execute(query, values).fetchall()

    def _one(self, query: str, *values: object) -> Any:  # noqa: ANN401 - SQL values
        row = self._db.execute(query, values).fetchone()
        return None if row is None else row[0]


def _push(heap: list[tuple[Any, ...]], rows: Iterator[Timed]) -> None:
    """The next of `rows` and, behind it, those that follow."""
    if (row := next(rows, None)) is not None:
        time_ms, number, source, index = row
        heappush(heap, (time_ms, _ROW, number, id(rows), source, index, rows))


def _is_apart(block: Packed, from_ms: int, to_ms: int, heap: list[tuple[Any, ...]]) -> bool:
    inside = from_ms <= block.from_ms and block.to_ms < to_ms
    return inside and (not heap or block.to_ms < heap[0][0])


def _packed(tank: str, rows: Sequence[Row], commit_last: int, strings: Strings) -> Packed:
    times = [row.time_ms for row in rows]
    known = [round(r.stamp.time_s * 1000) for r in rows if r.stamp.synchronised]
    return Packed(
        rows[-1].seq,
        rows[0].seq,
        commit_last,
        strings.number(tank),
        len(rows),
        min(times),
        max(times),
        max(known, default=None),
        kinds_in(rows),
        blob_of(rows, strings.number),
    )
