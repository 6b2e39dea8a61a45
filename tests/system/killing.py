"""Kills the journal's writer at random moments and counts: acknowledged, lost, doubled.

Run it: `python tests/system/killing.py 1000`.
"""

import random
import subprocess
import sys
import tempfile
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from afterfill.journal.store import Journal
from afterfill.records import Refill

WRITER = Path(__file__).parents[1] / "journal" / "busy_writer.py"


@dataclass(frozen=True, slots=True)
class Killed:
    """How many kills, what was acknowledged, and what of it was lost or doubled."""

    kills: int
    acknowledged: int
    lost: int
    doubled: int


def killed(times: int, path: Path, seed: int) -> Killed:
    """Kill the writer `times` times on one journal at `path`; what came of it."""
    chance, said = random.Random(seed), list[str]()
    for run in range(1, times + 1):
        said += _run(path, run, chance)
    submitted, committed = _numbers(said, "submitted"), _numbers(said, "committed")
    with Journal.open(path) as journal:
        for waiting in journal.inbox(limit=10**6):
            journal.take(*waiting)
        journal.commit()
        entries = journal.entries(limit=10**7)
    taken = Counter(e.record.litres for e in entries if isinstance(e.record, Refill))
    lost = len(set(committed) - {e.seq for e in entries}) + len(set(submitted) - set(taken))
    doubled = sum(count - 1 for count in taken.values())
    return Killed(times, len(submitted) + len(committed), lost, doubled)


def _run(path: Path, run: int, chance: random.Random) -> list[str]:
    command = [sys.executable, str(WRITER), str(path), str(run)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as child:
        assert child.stdout is not None
        said = [child.stdout.readline() for _ in range(chance.choice([0, 1, 2, 3, 10]))]
        try:
            child.wait(timeout=chance.uniform(0, 0.3 if not said else 0.01))
        except subprocess.TimeoutExpired:
            child.kill()
        said += child.stdout.readlines()
        assert child.wait() == -9, "the writer ended by itself"
    return [line for line in said if line.endswith("\n")]


def _numbers(said: list[str], word: str) -> list[float]:
    return [float(line.split()[1]) for line in said if line.startswith(word)]


def main() -> None:
    """See the module."""
    times = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    with tempfile.TemporaryDirectory(dir="/var/tmp") as folder:
        print(killed(times, Path(folder) / "journal.db", seed=times))


if __name__ == "__main__":
    main()
