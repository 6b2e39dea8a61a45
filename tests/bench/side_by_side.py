"""Every kind of wire in one service for an hour, each cut off again and again; prints each cut.

`python tests/bench/side_by_side.py [minutes]`; ends with 1 when a cut was not told, did not end or
disturbed another wire, or a value came by another wire than its own. Resident memory, descriptors
and threads of the service stand at the end of each round.
"""

import os
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from system.side_by_side import SideBySide, side_by_side


def held(pid: int) -> str:
    """What the service holds."""
    status = Path(f"/proc/{pid}/status").read_text()
    resident_mb = int(status.split("VmRSS:")[1].split()[0]) * 1024 / 1e6
    threads = status.split("Threads:")[1].split()[0]
    return (
        f"{resident_mb:.1f} MB, {len(os.listdir(f'/proc/{pid}/fd'))} descriptors, {threads} threads"
    )


def round_of(it: SideBySide) -> bool:
    """Cut each wire once; whether all was sound."""
    sound = True
    for wire in it.wires:
        cut = it.cut(wire)
        sound &= cut.sound
        print(
            f"{'sound' if cut.sound else 'UNSOUND':8} {cut.wire:20} no value for "
            f"{cut.lasted_s:5.1f} s; others: {cut.others_invalid} without a value, longest gap "
            f"{cut.others_gap_s:.1f} s",
            flush=True,
        )
    print(held(it.service.pid), flush=True)
    return sound


def main() -> int:
    """See the module."""
    minutes = float(sys.argv[1]) if len(sys.argv) > 1 else 60.0
    sound, end_s = True, time.monotonic() + 60.0 * minutes
    with (
        tempfile.TemporaryDirectory(prefix="side-by-side-") as folder,
        side_by_side(Path(folder)) as it,
    ):
        while time.monotonic() < end_s:
            sound &= round_of(it)
            time.sleep(30)
        strays = it.strays()
        code, took_s = it.service.stop()
    print(f"values of another wire: {len(strays)}; stop: exit {code} in {took_s:.1f} s")
    return 0 if sound and not strays and code == 0 else 1


if __name__ == "__main__":
    sys.exit(main())
