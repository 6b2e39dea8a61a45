"""Probe heads on pseudo-terminals that remember when they spoke: `growth_lines.py FOLDER TANKS`.

Prints `plugged` when FOLDER/t0, t1 ... are there; each answers with ORP, pH and temperature, with
the noise of resting water (our judgement). The thousandths of the ORP count the replies, so that
a reader of the journal can tell which reply it came from. A process of its own: what the
heads cost is not the services'. When its standard input ends it prints, as JSON, for each tank the
times of all its replies [s, monotonic], and ends.
"""

import json
import random
import sys
import time
from contextlib import ExitStack
from pathlib import Path

from afterfill.simulation.pty_port import PtyPort

ROUND = 100  # replies after which the count begins again: at 10 s a quarter of an hour


class Head:
    """Answers each line of request; `replied_s` are the times of its replies."""

    def __init__(self, chance: random.Random) -> None:
        self.replied_s: list[float] = []
        self._chance = chance

    def answer(self, received: bytes) -> bytes:
        """The replies to all requests that end in `received`."""
        return b"".join(self._reply() for _ in range(received.count(b"\r")))

    def _reply(self) -> bytes:
        count = len(self.replied_s) % ROUND
        self.replied_s.append(time.monotonic())
        orp_mv = round(self._chance.gauss(310.0, 0.5), 1)
        ph, temperature_c = self._chance.gauss(7.2, 0.01), self._chance.gauss(25.0, 0.02)
        return f"ORP={orp_mv:.1f}{count:02d};PH={ph:.2f};T={temperature_c:.2f}\r\n".encode()


def count_in(orp_mv: float) -> int:
    """Which reply of its round an ORP [mV] came from.

    >>> count_in(310.442)
    42
    """
    return round(orp_mv * 1000) % ROUND


def main() -> None:
    """See the module."""
    folder = Path(sys.argv[1])
    heads = [Head(random.Random(number)) for number in range(int(sys.argv[2]))]
    with ExitStack() as ports:
        for number, head in enumerate(heads):
            ports.enter_context(PtyPort(head, folder / f"t{number}"))
        print("plugged", flush=True)
        sys.stdin.read()
    print(json.dumps([head.replied_s for head in heads]))


if __name__ == "__main__":
    main()
