import signal
import sqlite3
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from afterfill.errors import JournalError
from afterfill.journal import migration
from afterfill.journal.migration import backup_path
from afterfill.journal.schema import VERSION
from afterfill.journal.store import Journal
from journal_samples import START_S, fill, orp, stamp_at

STATE = b'{"layout":"1","state":' + b'"the state of a tank"' * 50 + b"}"
OLD_BODY = '{"quantity":"orp","value":312.5,"probe":"window-orp"}'
KILLED_IN_THE_STEP = """
import os, signal, sys
from pathlib import Path
from afterfill.journal import schema
from afterfill.journal.store import Journal
done = schema.STEPS[1]
def step(db):
    done(db)
    os.kill(os.getpid(), signal.SIGKILL)
schema.STEPS = {**schema.STEPS, 1: step}
Journal.open(Path(sys.argv[1]))
"""


def _to_form_2(path: Path) -> None:
    """What versions of form 2 wrote: a row for each record, also for readings."""
    with Journal.open(path) as journal:
        journal.save_snapshot("window", 5, STATE)
        journal.commit()
    with sqlite3.connect(path) as db:
        for statement in ("DROP TABLE block", "DROP TABLE span", "DELETE FROM meta"):
            db.execute(statement)
        db.execute("INSERT INTO word VALUES (1, 'boot'), (2, 'reading'), (3, 'window')")
        for number in range(5):
            time_ms = round(1000 * (START_S + number))
            row = (number + 1, time_ms, 0, 1, 1, float(number), 2, 3, OLD_BODY)
            db.execute("INSERT INTO record VALUES (?,?,?,?,?,?,?,?,?)", row)
        db.execute("PRAGMA user_version=2")
    db.close()


def _to_form_1(path: Path) -> None:
    """What the first version wrote: snapshots uncompressed."""
    _to_form_2(path)
    with sqlite3.connect(path) as db:
        db.execute("UPDATE snapshot SET state = ?", (STATE,))
        db.execute("PRAGMA user_version=1")
    db.close()


def _raw(path: Path) -> tuple[int, bytes]:
    db = sqlite3.connect(path)
    try:
        form = db.execute("PRAGMA user_version").fetchone()[0]
        return form, db.execute("SELECT state FROM snapshot").fetchone()[0]
    finally:
        db.close()


def test_an_older_journal_is_copied_and_brought_up(path: Path) -> None:
    _to_form_1(path)
    with Journal.open(path) as journal:
        assert journal.snapshot("window") == (5, STATE)
        assert len(journal.entries()) == 5
    form, state = _raw(path)
    assert form == VERSION
    assert len(state) < len(STATE) / 5
    assert _raw(backup_path(path, 1)) == (1, STATE)


def test_an_older_journal_can_be_read_before_it_is_brought_up(path: Path) -> None:
    _to_form_1(path)
    with Journal.open(path, read_only=True) as journal:
        assert journal.snapshot("window") == (5, STATE)
    assert _raw(path) == (1, STATE)


def test_rows_of_the_older_form_stay_and_are_read_before_the_new_blocks(path: Path) -> None:
    _to_form_2(path)
    with Journal.open(path, read_only=True) as before:
        assert [e.seq for e in before.entries()] == [1, 2, 3, 4, 5]
        with Journal.open(path) as journal:
            fill(journal, 3, START_S + 5)
            expected = [(n + 1, orp(START_S + n), stamp_at(START_S + n)) for n in range(8)]
            for reader in (journal, before):
                found = [(e.seq, e.record, e.stamp) for e in reader.entries()]
                assert found == expected
            by_time = journal.between("window", START_S + 3, START_S + 7)
            assert [e.seq for e in by_time] == [4, 5, 6, 7]
            assert [e.seq for e in journal.latest("reading", "window", 5)] == [8, 7, 6, 5, 4]
    assert backup_path(path, 2).exists()


def test_a_kill_in_the_middle_leaves_the_old_form_and_the_next_start_finishes(path: Path) -> None:
    _to_form_1(path)
    killed = subprocess.run([sys.executable, "-c", KILLED_IN_THE_STEP, str(path)], check=False)
    assert killed.returncode == -signal.SIGKILL
    assert _raw(path) == (1, STATE)
    with Journal.open(path) as journal:
        assert journal.snapshot("window") == (5, STATE)
        assert len(journal.entries()) == 5
    assert _raw(path)[0] == VERSION


def test_a_step_that_fails_changes_nothing(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def failing(db: sqlite3.Connection) -> None:
        migration.STEPS[1](db)
        raise sqlite3.OperationalError("database or disk is full")

    _to_form_1(path)
    monkeypatch.setattr("afterfill.journal.schema.STEPS", {**migration.STEPS, 1: failing})
    with pytest.raises(JournalError, match="disk is full"):
        Journal.open(path)
    assert _raw(path) == (1, STATE)


def test_a_newer_journal_is_refused_in_one_sentence(path: Path) -> None:
    _to_form_1(path)
    with sqlite3.connect(path) as db:
        db.execute(f"PRAGMA user_version={VERSION + 1}")
    db.close()
    with pytest.raises(JournalError, match="newer afterfill"):
        Journal.open(path)


def test_a_backup_made_while_another_writes_is_whole(path: Path, tmp_path: Path) -> None:
    first, stop = threading.Event(), threading.Event()

    def write() -> None:
        with Journal.open(path) as writer:
            number = 0
            while not stop.is_set():
                fill(writer, 20, START_S + number)
                number += 20
                first.set()

    with Journal.open(path) as _made:
        pass
    thread = threading.Thread(target=write)
    thread.start()
    try:
        assert first.wait(10)
        with Journal.open(path, read_only=True) as reader:
            before = reader.last_seq()
            reader.back_up(tmp_path / "copy.db")
    finally:
        stop.set()
        thread.join()
    with Journal.open(tmp_path / "copy.db") as copy:
        assert copy.last_seq() >= before
        assert [e.seq for e in copy.entries(limit=10**6)] == list(range(1, copy.last_seq() + 1))
        assert copy.append(orp(START_S), stamp_at(START_S)) == copy.last_seq() + 1


def test_a_backup_never_overwrites(journal: Journal, tmp_path: Path) -> None:
    (tmp_path / "mine").write_text("precious")
    with pytest.raises(JournalError, match="exists already"):
        journal.back_up(tmp_path / "mine")
    with pytest.raises(JournalError, match="absent"):
        journal.back_up(tmp_path / "absent" / "copy.db")
    assert (tmp_path / "mine").read_text() == "precious"
