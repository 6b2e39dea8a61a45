import signal
import sqlite3
import subprocess
import sys
import threading
import zlib
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from afterfill.errors import JournalError
from afterfill.journal import migration
from afterfill.journal.block import Row
from afterfill.journal.blocks import Packed, frame_of
from afterfill.journal.contents import Contents
from afterfill.journal.damage import mend_if_damaged
from afterfill.journal.migration import backup_path
from afterfill.journal.schema import VERSION
from afterfill.journal.store import Journal
from afterfill.journal.survey import surveyed
from afterfill.journal.tail import Tail, tail_path
from afterfill.records import Service
from journal_samples import START_S, fill, orp, stamp_at

STATE = b'{"layout":"1","state":' + b'"the state of a tank"' * 50 + b"}"
OLD_BODY = '{"quantity":"orp","value":312.5,"probe":"window-orp"}'
KILLED_IN_THE_STEP = """
import os, signal, sys
from pathlib import Path
from afterfill.journal import schema
from afterfill.journal.store import Journal
from afterfill.journal.survey import surveyed
from afterfill.journal.tail import Tail, tail_path
from afterfill.records import Service
done = schema.STEPS[1]
def step(db):
    done(db)
    os.kill(os.getpid(), signal.SIGKILL)
schema.STEPS = {**schema.STEPS, 1: step}
Journal.open(Path(sys.argv[1]))
"""


FORM_2 = """
CREATE TABLE word (id INTEGER PRIMARY KEY, text TEXT NOT NULL UNIQUE);
CREATE TABLE record (
  seq INTEGER PRIMARY KEY AUTOINCREMENT, time_ms INTEGER NOT NULL, lag_ms INTEGER NOT NULL,
  synchronised INTEGER NOT NULL, boot INTEGER NOT NULL, monotonic_s REAL NOT NULL,
  kind INTEGER NOT NULL, tank INTEGER NOT NULL, body TEXT NOT NULL
);
CREATE INDEX record_by_time ON record (tank, time_ms);
CREATE INDEX record_by_kind ON record (kind, tank);
CREATE TABLE inbox (id INTEGER PRIMARY KEY AUTOINCREMENT, body TEXT NOT NULL, stamp TEXT NOT NULL);
CREATE TABLE cursor (name TEXT PRIMARY KEY, seq INTEGER NOT NULL) WITHOUT ROWID;
CREATE TABLE snapshot (
  tank TEXT NOT NULL, seq INTEGER NOT NULL, state BLOB NOT NULL, PRIMARY KEY (tank, seq)
);
CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
"""
FORM_3 = """
CREATE TABLE block (
  last_seq INTEGER PRIMARY KEY, first_seq INTEGER NOT NULL, commit_last INTEGER NOT NULL,
  tank INTEGER NOT NULL, rows INTEGER NOT NULL, from_ms INTEGER NOT NULL, to_ms INTEGER NOT NULL,
  accepted_ms INTEGER, kinds INTEGER NOT NULL, body BLOB NOT NULL
);
CREATE TABLE span (
  last_seq INTEGER PRIMARY KEY, first_seq INTEGER NOT NULL, tank INTEGER NOT NULL,
  from_ms INTEGER NOT NULL, to_ms INTEGER NOT NULL, kinds INTEGER NOT NULL
);
CREATE INDEX span_by_tank ON span (tank, to_ms);
INSERT INTO meta VALUES ('journal', '0001020304050607');
INSERT INTO meta VALUES ('said', 'by an old version');
INSERT INTO cursor VALUES ('mqtt', 4);
INSERT INTO inbox VALUES (7, '{"kind":"refill","time":"2026-03-01T07:30:00Z","tank":"window",
"mode":"add","litres":5}', '[1772350200.0,true,"boot",5.0]');
"""


def _to_form_2(path: Path) -> None:
    """What versions of form 2 wrote: a row for each record, also for readings."""
    with sqlite3.connect(path) as db:
        db.execute("PRAGMA journal_mode=WAL")
        db.executescript(FORM_2)
        db.execute("INSERT INTO snapshot VALUES ('window', 5, ?)", (zlib.compress(STATE),))
        db.execute("INSERT INTO word VALUES (1, 'boot'), (2, 'reading'), (3, 'window')")
        for number in range(5):
            time_ms = round(1000 * (START_S + number))
            row = (number + 1, time_ms, 0, 1, 1, float(number), 2, 3, OLD_BODY)
            db.execute("INSERT INTO record VALUES (?,?,?,?,?,?,?,?,?)", row)
        db.execute("PRAGMA user_version=2")
    db.close()


def _to_form_3(path: Path) -> None:
    """What versions of form 3 wrote: blocks, and the newest of them in a tail of its own form."""
    _to_form_2(path)
    with sqlite3.connect(path) as db:
        db.executescript(FORM_3)
        db.execute("INSERT INTO block VALUES (?,?,?,?,?,?,?,?,?,?)", _old_block(path, 6))
        db.execute("PRAGMA user_version=3")
    db.close()
    tail = Tail(tail_path(path), bytes(range(8)), form=3)
    tail.frames(7)
    for first in (8, 10):
        assert tail.append(7, frame_of([_old_block(path, first)]), flush=True)
    tail.close()


def _old_block(path: Path, first: int) -> Packed:
    """Two readings from number `first` on."""
    rows = [Row(n, orp(START_S + n - 1), stamp_at(START_S + n - 1)) for n in (first, first + 1)]
    with closing(sqlite3.connect(path)) as db:
        packed = Contents(path, db).blocks.packed(rows, first + 1)
    return packed[0]


def _raw(path: Path) -> tuple[int, bytes]:
    db = sqlite3.connect(path)
    try:
        form = db.execute("PRAGMA user_version").fetchone()[0]
        return form, db.execute("SELECT state FROM snapshot").fetchone()[0]
    finally:
        db.close()


def _to_form_1(path: Path) -> None:
    """What the first version wrote: snapshots uncompressed."""
    _to_form_2(path)
    with sqlite3.connect(path) as db:
        db.execute("UPDATE snapshot SET state = ?", (STATE,))
        db.execute("PRAGMA user_version=1")
    db.close()


@pytest.mark.parametrize(("make", "form"), [(_to_form_1, 1), (_to_form_2, 2), (_to_form_3, 3)])
def test_an_old_journal_is_sound_after_the_step_and_its_rows_are_counted_as_unchecked(
    path: Path, make: Callable[[Path], None], form: int
) -> None:
    make(path)
    with Journal.open(path, read_only=True) as before:
        expected = [(e.seq, e.record, e.stamp) for e in before.entries()]
    with Journal.open(path) as journal:
        assert [(e.seq, e.record, e.stamp) for e in journal.entries()] == expected
        journal.append(Service(START_S, "window", "probe"), stamp_at(START_S))
        journal.commit()
        fill(journal, 2)
        assert journal.damaged == 0
        journal.abandon()
    found = surveyed(path, alone=True)
    assert found.is_sound, found.sentence()
    assert found.unchecked == {1: 5, 2: 5, 3: 6}[form]
    assert mend_if_damaged(path) is None
    with closing(sqlite3.connect(backup_path(path, form))) as copy:
        assert copy.execute("PRAGMA user_version").fetchone()[0] == form


def test_form_3_keeps_all_it_had_with_its_tail(path: Path) -> None:
    _to_form_3(path)
    with Journal.open(path) as journal:
        assert [e.seq for e in journal.entries()] == list(range(1, 12))
        assert [e.record for e in journal.entries(5)] == [orp(START_S + n) for n in range(5, 11)]
        assert journal.cursor("mqtt") == 4
        assert journal.meta("said") == "by an old version"
        assert [number for number, _, _ in journal.inbox()] == [7]
        assert journal.snapshot("window") == (5, STATE)
    with closing(sqlite3.connect(backup_path(path, 3))) as copy:
        assert copy.execute("SELECT count(*) FROM block").fetchone()[0] == 3


def test_old_rows_of_a_damaged_journal_go_on_as_unchecked(path: Path) -> None:
    _to_form_3(path)
    with Journal.open(path) as journal:
        fill(journal, 3, START_S + 11)
    content = path.read_bytes()
    path.write_bytes(bytes(512) + content[512:])
    assert mend_if_damaged(path) is not None
    assert surveyed(path, alone=True).is_sound
    with Journal.open(path) as journal:
        assert [e.seq for e in journal.entries()] == list(range(1, 15))


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
