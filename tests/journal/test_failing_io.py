"""Every statement the journal sends fails once, in turn: nothing is lost, nothing doubled."""

import sqlite3
from pathlib import Path
from typing import Any

import pytest

from afterfill.errors import JournalError
from afterfill.journal.schema import connect
from afterfill.journal.store import Journal
from afterfill.records import Refill
from journal_samples import START_S, orp, stamp_at

FAILURES = ("disk I/O error", "database or disk is full", "attempt to write a readonly database")


class Failing:
    """A connection whose `nth` statement fails, as SQLite says it; all others are real."""

    def __init__(self, real: sqlite3.Connection, nth: int, words: str) -> None:
        self._real, self._left, self._words = real, nth, words
        self.failed = False

    def _count(self) -> None:
        self._left -= 1
        if self._left == 0:
            self.failed = True
            raise sqlite3.OperationalError(self._words)

    def execute(self, *args: Any) -> sqlite3.Cursor:
        if args[0] != "ROLLBACK":  # a rollback needs no room and no writing
            self._count()
        return self._real.execute(*args)

    def executemany(self, *args: Any) -> sqlite3.Cursor:
        self._count()
        return self._real.executemany(*args)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._real, name)


def _again_until_done(step: Any, told: list[str]) -> Any:
    try:
        return step()
    except JournalError as error:
        told.append(str(error))
        return step()


def _round(path: Path, nth: int, words: str) -> tuple[bool, list[str], int]:
    """A command, a reading, a snapshot, one more reading; one failure. (failed, told, seq)."""
    told: list[str] = []
    failing = Failing(connect(path, read_only=False), nth, words)
    # it stands in for a connection, and is none: only what the journal calls is there
    with Journal(path, failing) as journal:  # type: ignore[arg-type]  # a stand-in
        refill = Refill(START_S, "window", "add", 5.0)
        _again_until_done(lambda: journal.submit(refill, stamp_at(START_S)), told)
        (waiting,) = _again_until_done(journal.inbox, told)
        _again_until_done(lambda: journal.take(*waiting), told)
        seq = _again_until_done(lambda: journal.append(orp(START_S), stamp_at(START_S)), told)
        journal.save_snapshot("window", seq, b"state")
        _again_until_done(journal.commit, told)
        in_tail = _again_until_done(
            lambda: journal.append(orp(START_S + 1), stamp_at(START_S + 1)), told
        )
        _again_until_done(journal.commit, told)
        assert in_tail == seq + 1
        _again_until_done(lambda: journal.move_cursor("mqtt", seq), told)
        return failing.failed, told, seq


@pytest.mark.parametrize("words", FAILURES)
def test_each_statement_may_fail_once(tmp_path: Path, words: str) -> None:
    for nth in range(1, 100):
        path = tmp_path / f"{nth}.db"
        failed, told, seq = _round(path, nth, words)
        assert len(told) == (1 if failed else 0)
        with Journal.open(path) as journal:
            assert journal.inbox() == []
            assert [type(e.record).__name__ for e in journal.entries()] == [
                "Refill",
                "Reading",
                "Reading",
            ]
            assert journal.snapshot("window") == (seq, b"state")
            assert journal.cursor("mqtt") == seq
        if not failed:
            assert nth > 12, "the failures never reached the end"
            return
    pytest.fail("there is no end of statements")
