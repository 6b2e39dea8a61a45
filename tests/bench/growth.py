"""What 1, 10, 100 and 300 tanks cost on one broker and one database; prints a table.

The real `afterfill run`, several of it, each with a part of the tanks; three probes a tank on a
serial line of its own (a pseudo-terminal), read at the default interval; a real mosquitto and a
real victoria-metrics. Counted for a window after a warm-up, by process: user and system time (not
wall time, since the machine may do other work), memory, what is written to a disk, calls of write
(how often a disk is told to flush, the kernel does not count by process). The heads and the bench
itself, which listens as a hub does, are other processes and not counted. A reading is followed by
a count in its ORP: from the reply on its line until a subscriber of the broker has it, and until
the database (asked each second, ten tanks at most) shows it. The journal commits readings each
minute (`commit_every_s`), so these take up to a minute by design. How quick the chain is, the
answers to commands show: one each second, after the window, since each is written at once.

Late: a probe was asked more than half a second later than its interval. Missed: not at all in an
interval. Lost: it replied, and the subscriber or the database never had it. With `watched`, a
refill of so many tanks is announced in the warm-up, so that the inference is at work on them.

Run it: `PYTHONPATH=tests python tests/bench/growth.py [--seconds 180] [--settling 720]
[--tanks-a-service 25] [--watched 0] [tanks ...]`: a row takes a quarter of an hour, since a tank
that still learns (ten minutes) writes more.
"""

import argparse
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from bench.growth_room import Plan
from bench.growth_run import measured
from bench.growth_table import heading, row
from bench.weight import folder_on_a_disk

SECONDS, SETTLING_S, A_SERVICE = 180.0, 720.0, 25


def main() -> None:
    """See the module."""
    parser = argparse.ArgumentParser(description=str(__doc__).splitlines()[0])
    parser.add_argument("tanks", nargs="*", type=int, default=[1, 10, 100, 300])
    parser.add_argument("--seconds", type=float, default=SECONDS)
    parser.add_argument("--settling", type=float, default=SETTLING_S)
    parser.add_argument("--tanks-a-service", type=int, default=A_SERVICE)
    parser.add_argument("--watched", type=int, default=0)
    asked = parser.parse_args()
    print(heading(), flush=True)
    for tanks in asked.tanks:
        plan = Plan(tanks, -(-tanks // asked.tanks_a_service))
        with folder_on_a_disk() as folder:
            it = measured(
                plan, folder, seconds=asked.seconds, settling_s=asked.settling,
                watched=min(asked.watched, tanks),
            )  # fmt: skip
        print(row(it), flush=True)


if __name__ == "__main__":
    main()
