"""A process that the kill test kills: submits, takes, appends, and says what is acknowledged.

Usage: busy_writer.py JOURNAL RUN. Prints `submitted LITRES` and `committed SEQ`, line by line.
After each commit with commands and a snapshot come a few of readings alone, which go to the tail.
"""

import itertools
import sys
from pathlib import Path

from afterfill.journal.store import Journal
from afterfill.records import Reading, Refill, Stamp

LIGHT_COMMITS = 3


def main() -> None:
    path, run = Path(sys.argv[1]), int(sys.argv[2])
    core, outsider = Journal.open(path), Journal.open(path)
    for number in itertools.count(1):
        litres = float(run * 1_000_000 + number)
        stamp = Stamp(1_772_350_200.0 + number, True, f"boot-{run}", float(number))
        outsider.submit(Refill(stamp.time_s, "window", "add", litres), stamp)
        print(f"submitted {litres}", flush=True)
        for inbox_id, event, event_stamp in core.inbox():
            core.take(inbox_id, event, event_stamp)
        seq = _read(core, stamp)
        core.save_snapshot("window", seq, str(seq).encode())
        core.commit()
        print(f"committed {seq}", flush=True)
        for light in range(LIGHT_COMMITS):
            seq = _read(core, stamp)
            core.commit(flush=light == 0)
            print(f"committed {seq}", flush=True)


def _read(core: Journal, stamp: Stamp) -> int:
    for _ in range(5):
        seq = core.append(Reading(stamp.time_s, "window", "orp", 300.0 + stamp.monotonic_s), stamp)
    return seq


if __name__ == "__main__":
    main()
