"""What the whole service weighs: the real `afterfill run` on simulated lines; prints a table.

Each tank has one serial line with three probes at 1 Hz. The lines, the broker and the database
are processes of their own; only the service is counted: time from exec to READY=1, VmRSS and its
peak, user and system time of `/proc/PID/stat`, `write_bytes` of `/proc/PID/io` (pages made dirty
for a disk, scaled to a day), threads, and how often it is woken (voluntary switches). Counting
begins two minutes after READY. The snapshot of each hour falls into no run of minutes, so a day
writes somewhat more than is shown: see `wear.py`.

Run it: `python tests/bench/weight.py [seconds] [tanks ...]`.
"""

import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from bench.many_tanks import configuration, service
from bench.process_figures import cpu_s, number, resident_mb
from manager_socket import ManagerSocket
from servers import Broker, Victoria

LINES = Path(__file__).with_name("weight_lines.py")
SETTLING_S = 130.0  # by then what a start has to tell is written, and the tail is in use
_READY_WITHIN_S = 120.0
_DAY_S = 86_400.0


@dataclass(frozen=True, slots=True)
class Weight:
    """`start_s` [s], resident and peak [MB], share of one core, written [MB/day], wakes [1/s]."""

    start_s: float
    resident_mb: float
    peak_mb: float
    core: float
    written_mb: float
    threads: int
    wakes_hz: float


def measured(tanks: int, seconds: float, folder: Path, *, settling_s: float = SETTLING_S) -> Weight:
    """Run the service for `seconds` [s] after `settling_s` [s]. `folder` lies on a disk."""
    with (
        Broker(folder / "broker") as broker,
        Victoria(folder / "database") as database,
        ManagerSocket.in_folder(folder) as manager,
        _lines(folder, tanks),
    ):
        names = [f"t{place}" for place in range(tanks)]
        text = configuration(names, folder, broker=broker.port, database=database.port, every_s=1.0)
        began_s = time.monotonic()
        with service(folder, text, manager.name) as process:
            assert manager.listen("READY", _READY_WITHIN_S), "the service does not get ready"
            start_s = time.monotonic() - began_s
            time.sleep(settling_s)
            return _counted(process.pid, start_s, seconds)


def _counted(pid: int, start_s: float, seconds: float) -> Weight:
    began_s, cpu_began_s, written = time.monotonic(), cpu_s(pid), number(pid, "io", "write_bytes")
    wakes = _switches(pid)
    time.sleep(seconds)
    lasted_s = time.monotonic() - began_s
    return Weight(
        start_s,
        resident_mb(pid),
        number(pid, "status", "VmHWM") * 1024 / 1e6,
        (cpu_s(pid) - cpu_began_s) / lasted_s,
        (number(pid, "io", "write_bytes") - written) / 1e6 * _DAY_S / lasted_s,
        number(pid, "status", "Threads"),
        (_switches(pid) - wakes) / lasted_s,
    )


@contextmanager
def _lines(folder: Path, tanks: int) -> Iterator[None]:
    command = [sys.executable, str(LINES), str(folder), str(tanks)]
    pipe = subprocess.PIPE
    with subprocess.Popen(command, stdin=pipe, stdout=pipe, text=True) as process:
        assert process.stdout is not None
        assert process.stdin is not None
        assert process.stdout.readline() == "plugged\n"
        yield
        process.stdin.close()


def _switches(pid: int) -> int:
    tasks = Path(f"/proc/{pid}/task").iterdir()
    return sum(number(int(t.name), "status", "voluntary_ctxt_switches") for t in tasks)


@contextmanager
def folder_on_a_disk() -> Iterator[Path]:
    """In the checkout: what systems give as temporary is often kept in memory only."""
    folder = Path(tempfile.mkdtemp(prefix=".weight-", dir=Path(__file__).parents[2]))
    try:
        yield folder
    finally:
        shutil.rmtree(folder)


def main() -> None:
    """See the module."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 180.0
    print("tanks  start s  MB resident  MB peak  % of a core  MB written/day  threads  wakes/s")
    for tanks in [int(word) for word in sys.argv[2:]] or [1, 10, 100]:
        with folder_on_a_disk() as folder:
            w = measured(tanks, seconds, folder)
        print(
            f"{tanks:5d}  {w.start_s:7.2f}  {w.resident_mb:11.1f}  {w.peak_mb:7.1f}"
            f"  {100 * w.core:11.2f}  {w.written_mb:14.2f}  {w.threads:7d}  {w.wakes_hz:7.1f}",
            flush=True,
        )


if __name__ == "__main__":
    main()
