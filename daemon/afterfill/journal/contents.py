"""What a journal holds: rare rows and blocks in the database, the newest blocks in the tail."""

import sqlite3
from collections.abc import Collection, Iterable, Iterator, Sequence
from contextlib import suppress
from heapq import merge
from itertools import islice
from pathlib import Path

from afterfill.errors import JournalError, PayloadError
from afterfill.journal.block import Row, is_bulk
from afterfill.journal.block_text import Text, text_of, usual_texts
from afterfill.journal.blocks import Blocks, Packed, Timed, View, blocks_of, frame_of
from afterfill.journal.check import CHECKED_FORM, JOURNAL_NAME, Checks, Damaged
from afterfill.journal.entry import Entry, Source
from afterfill.journal.rows import Rows
from afterfill.journal.strings import Strings
from afterfill.journal.tail import Tail, tail_path

_FORM_OF_OLD_TAILS = 3


class Contents:
    """Through one connection. Raises sqlite3.Error and JournalError."""

    def __init__(self, path: Path, db: sqlite3.Connection) -> None:
        self.path, self._db = path, db
        self.checks = Checks(path, db)
        self.strings = Strings(db, self.checks)
        self.blocks = Blocks(db, self.strings, self.checks)
        self._rows = Rows(db, self.strings, self.checks)
        self._tail: Tail | None = None
        self._tail_form = CHECKED_FORM
        self._name: bytes | None = None
        self._undecodable = 0
        self.sound = set[int]()  # last numbers
        self._frames_base, self._frames_seen = -1, 0
        self._in_tail: list[Packed] = []

    def close(self) -> None:
        """Let go of the tail. Safe twice."""
        if self._tail is not None:
            self._tail.close()

    def forget(self) -> None:
        """A transaction was rolled back, or something was dropped: remember nothing."""
        self.strings.forget()
        self.blocks.forget()

    @property
    def undecodable(self) -> int:
        """How many rows and blocks were skipped because a newer version wrote them."""
        return self._undecodable + self.blocks.undecodable

    def search_tail(self) -> int:
        """Look through the whole tail; how many of its places are damaged."""
        self.view()
        if self._tail is None:
            return 0
        self._tail.search()
        return self._tail.damaged

    def view(self) -> View:
        """What is committed now."""
        stored = max(last_numbered(self._db, "record"), self.blocks.last_seq())
        tail = self._opened_tail()
        try:
            frames = [] if tail is None else tail.frames(stored)
        except OSError as error:
            raise JournalError(
                f"the journal's newest part, {self.path.name}-tail, cannot be read "
                f"({error.strerror}); may this user read it?"
            ) from error
        if self._frames_base != stored:
            self._frames_base, self._frames_seen, self._in_tail = stored, 0, []
        for frame in frames[self._frames_seen :]:
            self._in_tail += blocks_of(frame)
        self._frames_seen = len(frames)
        return View(stored, self._in_tail)

    def _opened_tail(self) -> Tail | None:
        form = CHECKED_FORM if self.checks.there else _FORM_OF_OLD_TAILS
        if self._tail is not None and self._tail_form != form:
            self._tail.close()
            self._tail, self._frames_base = None, -1
        if self._tail is None and self.blocks.readable() and (name := self.name) is not None:
            self._tail, self._tail_form = Tail(tail_path(self.path), name, form=form), form
        return self._tail

    @property
    def name(self) -> bytes | None:
        """What tells this journal from any other; None when that cannot be read."""
        if self._name is None and (value := self.meta(JOURNAL_NAME)) is not None:
            with suppress(ValueError):
                self._name = bytes.fromhex(value)
        return self._name

    def meta(self, key: str) -> str | None:
        """A small fact about this journal, by name."""
        query = f"SELECT value, {self.checks.column} FROM meta WHERE key = ?"
        row = self._db.execute(query, (key,)).fetchone()
        if row is None or not self.checks.hold("meta", key, (key, row[0]), row[1]):
            return None
        return str(row[0])

    # --- writing -----------------------------------------------------------------------------

    def to_tail(self, rows: Sequence[Row], committed: int, *, flush: bool) -> bool:
        """Write one commit to the tail, after number `committed`; False when it must go into the
        database."""
        texts = {text for row in rows for text in (row.record.tank, row.stamp.boot_id)}
        if not all(is_bulk(row.record) for row in rows) or not all(map(self.strings.known, texts)):
            return False
        view, tail = self.view(), self._opened_tail()
        self._check_alone(view, committed)
        frame = frame_of(self.blocks.packed(rows, rows[-1].seq))
        try:
            return tail is not None and tail.append(view.stored, frame, flush=flush)
        except OSError:
            return False  # the database will say what is the matter with the disk

    def to_database(self, rows: Sequence[Row], committed: int) -> None:
        """Insert the tail and one commit after number `committed`; in a transaction."""
        view = self.view()
        self._check_alone(view, committed)
        rare = [row for row in rows if not is_bulk(row.record)]
        if rare:
            self._rows.add(rare)
        bulk = [row for row in rows if is_bulk(row.record)]
        self.blocks.add([*view.tail, *self.blocks.packed(bulk, rows[-1].seq if rows else 0)])

    def _check_alone(self, view: View, committed: int) -> None:
        if view.last_seq != committed:
            raise JournalError(
                f"the journal {self.path} is being written by a second afterfill; stop one of them"
            )

    # --- reading -----------------------------------------------------------------------------

    def entries(
        self,
        after: int,
        until: int | None,
        kinds: Collection[str] | None,
        tank: str | None,
        limit: int,
    ) -> list[Entry]:
        """At most `limit` with `after` < number <= `until`, in order."""
        view = self.view()
        last = view.last_seq if until is None else min(until, view.last_seq)
        rows = self._rows.after(after, min(last, view.stored), kinds, tank, limit)
        blocks = self.blocks.after(view, after, last, kinds, tank)
        return self._first(_by_number(rows, blocks), limit)

    def between(
        self, tank: str, from_ms: int, to_ms: int, kinds: Collection[str] | None
    ) -> Iterator[Entry]:
        """Of times [ms] in [from_ms, to_ms), in order of time and then of number."""
        for found in self._between(tank, from_ms, to_ms, kinds):
            yield from self._entries_of(found, kinds)

    def texts_between(
        self, tank: str, from_ms: int, to_ms: int, kinds: Collection[str]
    ) -> Iterator[Sequence[Text]]:
        """As `between`, as texts, some at a time. The stored blocks that were read are noted in
        `sound`."""
        kinds, stored = frozenset(kinds), self.view().stored
        for found in self._between(tank, from_ms, to_ms, kinds):
            usual = None
            if isinstance(found, Packed):
                if found.last_seq <= stored:
                    self.sound.add(found.last_seq)
                usual = usual_texts(tank, found.body, kinds)
            if usual is None:
                usual = [text_of(entry.record) for entry in self._entries_of(found, kinds)]
            yield usual

    def _between(
        self, tank: str, from_ms: int, to_ms: int, kinds: Collection[str] | None
    ) -> Iterator[Packed | Timed]:
        view = self.view()
        rows = self._rows.between(view.stored, tank, from_ms, to_ms, kinds)
        return self.blocks.between(view, tank, from_ms, to_ms, kinds, rows)

    def _entries_of(self, found: Packed | Timed, kinds: Collection[str] | None) -> Iterator[Entry]:
        rows = self.blocks.rows_of(found, kinds) if isinstance(found, Packed) else [found]
        for _, _, source, index in rows:
            yield from self._decoded(source, index)

    def latest(self, kind: str, tank: str, n: int) -> list[Entry]:
        """The last `n` of a kind, the newest first."""
        view = self.view()
        rows = self._rows.newest(view.stored, kind, tank, n)
        blocks = self.blocks.newest(view, kind, tank)
        return self._first(_by_number(rows, blocks, newest_first=True), n)

    def _first(self, found: Iterable[tuple[int, Source, int]], n: int) -> list[Entry]:
        entries = (entry for _, source, at in found for entry in self._decoded(source, at))
        return list(islice(entries, max(n, 0)))

    def _decoded(self, source: Source, index: int) -> list[Entry]:
        try:
            return [source.entry(index)]
        except Damaged:
            return []
        except PayloadError:
            self._undecodable += 1
            return []


def last_numbered(db: sqlite3.Connection, table: str) -> int:
    """The last number that a row of `record` or `inbox` was ever given."""
    key = "seq" if table == "record" else "id"
    last = db.execute(f"SELECT max({key}) FROM {table}").fetchone()[0]
    row = db.execute("SELECT seq FROM sqlite_sequence WHERE name = ?", (table,)).fetchone()
    return max(last or 0, row[0] if row else 0)


def _by_number(
    rows: Iterable[tuple[int, Source, int]],
    blocks: Iterable[tuple[int, Source, int]],
    *,
    newest_first: bool = False,
) -> Iterator[tuple[int, Source, int]]:
    return merge(rows, blocks, key=lambda found: found[0], reverse=newest_first)
