"""A writer is killed without warning at many points: nothing acknowledged may be lost."""

import random
import sqlite3
import subprocess
import sys
from collections import Counter
from pathlib import Path

import pytest

from afterfill.journal.store import Journal
from afterfill.records import Refill
from journal.busy_writer import LIGHT_COMMITS

CHILD = Path(__file__).with_name("busy_writer.py")
KILLS = 64


def _killed_run(path: Path, run: int, chance: random.Random) -> list[str]:
    """Start the writer, kill it after some lines and a moment more; what it had said."""
    command = [sys.executable, str(CHILD), str(path), str(run)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as child:
        assert child.stdout is not None
        lines = chance.choice([0, 1, 2, 3, 10, 25])
        said = [child.stdout.readline() for _ in range(lines)]
        try:
            child.wait(timeout=chance.uniform(0, 0.12 if lines == 0 else 0.004))
        except subprocess.TimeoutExpired:
            child.kill()
        said += child.stdout.readlines()
        assert child.wait() == -9, "the writer ended by itself"
    return [line for line in said if line.endswith("\n")]


def _acknowledged(said: list[str], word: str) -> list[float]:
    return [float(line.split()[1]) for line in said if line.startswith(word)]


@pytest.mark.system
@pytest.mark.timeout(120)
def test_what_was_acknowledged_outlives_kills_at_many_points(tmp_path: Path) -> None:
    chance = random.Random(4711)
    path = tmp_path / "journal.db"
    said: list[str] = []
    for run in range(1, KILLS + 1):
        said += _killed_run(path, run, chance)
    submitted, committed = _acknowledged(said, "submitted"), _acknowledged(said, "committed")
    assert len(committed) > KILLS

    with Journal.open(path) as journal:
        for inbox_id, event, stamp in journal.inbox(limit=10_000):
            journal.take(inbox_id, event, stamp)
        journal.commit()
        assert journal.last_seq() >= max(committed)
        entries = journal.entries(limit=1_000_000)
        assert set(map(int, committed)) <= {entry.seq for entry in entries}
        taken = Counter(e.record.litres for e in entries if isinstance(e.record, Refill))
        assert set(submitted) <= set(taken)
        assert set(taken.values()) == {1}, "a command was taken twice"
        newest = journal.snapshot("window")
        assert newest is not None
        assert newest[1] == str(newest[0]).encode()
        assert newest[0] >= max(committed) - 5 * LIGHT_COMMITS
    with sqlite3.connect(path) as database:
        assert database.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    database.close()
