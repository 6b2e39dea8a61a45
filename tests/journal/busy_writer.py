"""A process that the kill test kills: submits, takes, appends, and says what is acknowledged.

Usage: busy_writer.py JOURNAL RUN. Prints `submitted LITRES` and `committed SEQ`, line by line.
"""

import itertools
import sys
from pathlib import Path

from afterfill.journal.store import Journal
from afterfill.records import Reading, Refill, Stamp


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
        for _ in range(5):
            seq = core.append(Reading(stamp.time_s, "window", "orp", 300.0 + number), stamp)
        core.save_snapshot("window", seq, str(seq).encode())
        core.commit()
        print(f"committed {seq}", flush=True)


if __name__ == "__main__":
    main()
