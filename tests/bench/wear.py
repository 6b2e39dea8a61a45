"""What the service costs the card and the machine, for 1, 10 and 100 tanks; prints a table.

The real Recorder and Journal on a real file, three probes at 1 Hz per tank, time simulated:
`hours` of it are fed as fast as they go. Two sinks are there as cursors, saved as the sinks save
them. What is written is scaled to a day and counted by `written.py`. In a day the kernel writes
what is dirty some 30 s later, and a page made dirty again counts again; here a day passes in
seconds, so the bench itself has the journal's files written back each 30 simulated seconds, the
index of the log in shared memory (`-shm`) included: it is a file like the others, and without
this most of what a commit costs would not be seen.

CPU is process time over simulated time, of this machine, without serial ports. Memory is VmRSS at
the end. Each number of tanks runs in a process of its own. `watched` pours a refill at the
beginning.

Run it: `python tests/bench/wear.py [hours] [folder on a disk]`.
"""

import random
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from afterfill.config import Config
from afterfill.journal.store import Journal
from afterfill.records import Reading, Refill, Stamp
from afterfill.service.recorder import Recorder
from afterfill.sinks.influx.delivered import SAVE_CURSOR_S
from bench.written import meter

START_S = 1_800_000_000.0
_DAY_H = 24.0
_WRITEBACK_S = 30  # the kernel's dirty_expire_centisecs, as it comes
_CURSORS = ("influxdb",)


@dataclass(frozen=True, slots=True)
class Wear:
    """`written_mb` per day [MB], `resident_mb` [MB], `core` (share of one), `start_s` [s]."""

    tanks: int
    written_mb: float
    resident_mb: float
    core: float
    start_s: float


def configuration(tanks: int) -> Config:
    """Tanks of 100 L with three probes at 1 Hz, all else as by default."""
    names = [f"t{number}" for number in range(tanks)]
    return Config.model_validate(
        {
            "tank": {name: {"litres": 100} for name in names},
            "source": {"tap": {"disinfectant": "chloramine", "residual_mg_l": 2.0}},
            "probe": [
                {"tank": t, "quantity": q, "driver": "line", "port": f"/dev/{t}", "every_s": 1}
                for t in names
                for q in ("temperature", "ph", "orp")
            ],
        }
    )


def measured(tanks: int, hours: float, folder: Path, *, watched: bool = False) -> Wear:
    """Feed `hours` [h] of readings; the wear of it. Raises JournalError."""
    path, chance = folder / f"wear-{tanks}-{watched}.db", random.Random(tanks)
    began_s = time.perf_counter()
    recorder = Recorder(configuration(tanks), path)
    start_s = time.perf_counter() - began_s
    if watched:
        with Journal.open(path) as people:
            for number in range(tanks):
                people.submit(Refill(START_S, f"t{number}", "replace", 25.0), _stamp(0))
    cpu_s, written = time.process_time(), meter(path)
    with Journal.open(path) as sinks:
        for second in range(round(hours * 3600)):
            stamp = _stamp(second)
            recorder.inbox(stamp)
            for number in range(tanks):
                recorder.readings(_readings(f"t{number}", stamp.time_s, chance), stamp)
            recorder.save(stamp)
            if second % round(SAVE_CURSOR_S) == 0:
                _move_cursors(sinks)
            if second % _WRITEBACK_S == 0:
                written.write_back()
    cpu_s = time.process_time() - cpu_s
    written.write_back()
    written_mb = written.written_bytes() / 1e6 * _DAY_H / hours
    recorder.close(stamp)
    return Wear(tanks, written_mb, resident_mb(), cpu_s / (hours * 3600), start_s)


def _move_cursors(sinks: Journal) -> None:
    for name in _CURSORS:
        sinks.move_cursor(name, sinks.last_seq())


def _stamp(second: int) -> Stamp:
    return Stamp(START_S + second, True, "boot", 100.0 + second)


def _readings(tank: str, time_s: float, chance: random.Random) -> list[Reading]:
    return [
        Reading(time_s, tank, "temperature", round(chance.gauss(25.0, 0.02), 2), f"{tank}-t"),
        Reading(time_s, tank, "ph", round(chance.gauss(7.2, 0.01), 2), f"{tank}-ph"),
        Reading(time_s, tank, "orp", round(chance.gauss(310.0, 0.5), 1), f"{tank}-orp"),
    ]


def resident_mb() -> float:
    """Resident memory of this process [MB]."""
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmRSS")) * 1024 / 1e6


def in_own_process(tanks: int, hours: float, folder: Path, *, watched: bool) -> Wear:
    """As `measured`, in a fresh process, so that memory is that of this case alone."""
    command = [sys.executable, __file__, "one", str(tanks), str(hours), str(folder)]
    command += ["watched"] if watched else []
    said = subprocess.run(command, check=True, capture_output=True, text=True).stdout.split()
    return Wear(int(said[0]), *map(float, said[1:]))


def _one(words: list[str]) -> None:
    wear = measured(int(words[0]), float(words[1]), Path(words[2]), watched=len(words) > 3)
    print(wear.tanks, wear.written_mb, wear.resident_mb, wear.core, wear.start_s)


def _table(hours: float, folder: Path) -> None:
    print("tanks  case     MB written/day  MB resident  % of a core  start s")
    for tanks in (1, 10, 100):
        for watched in (False, True):
            share = hours if tanks == 1 else hours / tanks * 5
            wear = in_own_process(tanks, share, folder, watched=watched)
            case = "watched" if watched else "quiet"
            print(
                f"{tanks:5d}  {case:7s}  {wear.written_mb:14.2f}  {wear.resident_mb:11.1f}"
                f"  {100 * wear.core:11.3f}  {wear.start_s:7.3f}",
                flush=True,
            )


def main() -> None:
    """See the module."""
    if sys.argv[1:2] == ["one"]:
        _one(sys.argv[2:])
        return
    hours = float(sys.argv[1]) if len(sys.argv) > 1 else 3.0
    with tempfile.TemporaryDirectory(dir=sys.argv[2] if len(sys.argv) > 2 else ".") as folder:
        _table(hours, Path(folder))


if __name__ == "__main__":
    main()
