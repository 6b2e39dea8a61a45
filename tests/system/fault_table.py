"""The fault table: every fault, how it was made and how often, what it lost and doubled, and how
the person was told.

`python tests/system/fault_table.py [--quick] [WORD ...]` prints a row for each fault whose name
holds one of the words (all without words), and ends with 1 when a row lost or doubled something,
or told no one. `--quick` makes each fault a few times only.
"""

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

if __name__ == "__main__":  # as a script: the tests' own modules lie one folder up
    sys.path.insert(0, str(Path(__file__).parents[1]))

from system import (
    fault_clock,
    fault_config,
    fault_damage,
    fault_disk,
    fault_kill,
    fault_memory,
    fault_outage,
    fault_port,
    fault_present,
    fault_reach,
    fault_stop,
)
from system.fault_row import Row


class Fault(NamedTuple):
    """What makes a fault so many times in a folder; how often, and how often when in haste."""

    make: Callable[[int, Path], Row]
    times: int
    quick: int


FAULTS: dict[str, Fault] = {
    "killed writer": Fault(fault_kill.writer_killed, 1000, 10),
    "killed service": Fault(fault_kill.service_killed, 120, 5),
    "n-th system call": Fault(fault_disk.every_call, 1000, 5),
    "full disk": Fault(fault_disk.disk_full, 20, 1),
    "full disk over the stop": Fault(fault_disk.full_at_the_end, 5, 1),
    "read-only card": Fault(fault_disk.card_read_only, 20, 1),
    "I/O errors": Fault(fault_disk.card_failing, 20, 1),
    "no room in files": Fault(fault_disk.file_limited, 20, 1),
    "damaged journal": Fault(fault_damage.damaged, 12, 1),
    "single flipped bit": Fault(fault_damage.bit_flipped, 3000, 30),
    "lost database": Fault(fault_damage.database_lost, 4, 2),
    "foreign file": Fault(fault_damage.foreign, 3, 1),
    "unplugged": Fault(fault_port.replugged, 200, 5),
    "two programs": Fault(fault_port.second_program, 5, 1),
    "stolen bytes": Fault(fault_port.thief, 500, 20),
    "another's answer": Fault(fault_port.anothers_answer, 500, 20),
    "no clock at boot": Fault(fault_clock.no_clock_at_boot, 3, 1),
    "an hour back": Fault(fault_clock.an_hour_back, 3, 1),
    "clock ahead": Fault(fault_present.clock_ahead, 5, 1),
    "dead service": Fault(fault_present.dead_service, 20, 1),
    "two ports of unlike pace": Fault(fault_present.unlike_ports, 60, 10),
    "daylight saving": Fault(fault_clock.summer_time_ends, 3, 1),
    "stop in a commit": Fault(fault_stop.stopped_in_a_commit, 100, 1),
    "memory capped": Fault(fault_memory.memory_capped, 20, 1),
    "broker away": Fault(fault_outage.broker_away, 72, 1),
    "database away": Fault(fault_outage.database_away, 72, 1),
    "service hangs": Fault(fault_reach.service_hangs, 10, 1),
    "full disk and mail": Fault(fault_reach.told_on_a_full_disk, 5, 1),
    "nonsense in the file": Fault(fault_config.edited_to_nonsense, 40, 2),
}
_HEAD = f"{'fault':<24} {'times':>6} {'lost':>5} {'doubled':>7}  how | told"


def printed(row: Row) -> str:
    """The row as the table shows it."""
    heard = row.told or "NO ONE"
    return f"{row.fault:<24} {row.times:>6} {row.lost:>5} {row.doubled:>7}  {row.how} | {heard}"


def _made(name: str, fault: Fault, times: int, folder: Path) -> Row:
    """A fault that the program did not get over is a row too: something was lost."""
    try:
        return fault.make(times, folder)
    except AssertionError as error:
        return Row(name, str(error).splitlines()[0], times, 1, 0, "")


def main() -> int:
    """See the module."""
    words = [word for word in sys.argv[1:] if word != "--quick"]
    chosen = {n: f for n, f in FAULTS.items() if not words or any(w in n for w in words)}
    print(_HEAD, flush=True)
    unsound = 0
    for name, fault in chosen.items():
        began_s = time.monotonic()
        with tempfile.TemporaryDirectory(prefix="fault-") as folder:
            times = fault.quick if "--quick" in sys.argv else fault.times
            row = _made(name, fault, times, Path(folder) / "made")
        unsound += not row.is_sound
        print(f"{printed(row)} ({time.monotonic() - began_s:.0f} s)", flush=True)
    return int(unsound > 0)


if __name__ == "__main__":
    sys.exit(main())
