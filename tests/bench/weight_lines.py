"""Virtual tanks on pseudo-terminals, in a process of their own: `weight_lines.py FOLDER TANKS`.

Prints `plugged` when FOLDER/t0, t1 ... are there; each answers with ORP, pH and temperature, with
the noise of resting water (our judgement). Ends with its standard input.
"""

import random
import sys
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path

from afterfill.records import Quantity
from afterfill.simulation.line_device import LineDevice
from afterfill.simulation.pty_port import PtyPort


def resting(chance: random.Random) -> Callable[[], dict[Quantity, float]]:
    """What the probes of one tank say [mV, pH, degrees C]."""
    return lambda: {
        "orp": chance.gauss(310.0, 0.5),
        "ph": chance.gauss(7.2, 0.01),
        "temperature": chance.gauss(25.0, 0.02),
    }


def main() -> None:
    """See the module."""
    folder, tanks = Path(sys.argv[1]), int(sys.argv[2])
    with ExitStack() as ports:
        for number in range(tanks):
            device = LineDevice(resting(random.Random(number)))
            ports.enter_context(PtyPort(device, folder / f"t{number}"))
        print("plugged", flush=True)
        sys.stdin.read()


if __name__ == "__main__":
    main()
