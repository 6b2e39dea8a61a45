"""How long a correction takes: a word of so many hours ago, corrected while the service reads on.

``PYTHONPATH=tests python tests/bench/correction_speed.py 24 30`` (hours; seconds between readings).
"""

import sys
import tempfile
import time
from pathlib import Path
from typing import NamedTuple

from afterfill.journal.store import Journal
from afterfill.records import Correction, Reading, Stamp
from afterfill.service.recorder import Recorder
from tank_stories import HOUR_S, ZERO_S, config_of, pour, raw, refill, story

_WORD_H = 1.0


class Taken(NamedTuple):
    """Seconds [s] of all turns together, and of the longest one; how many turns."""

    all_s: float
    longest_s: float
    turns: int


def taken(folder: Path, hours: float, every_s: float) -> Taken:
    """A raw refill that was said to be treated, corrected `hours` [h] later."""
    path = folder / "j.db"
    recorder, waiting = Recorder(config_of(), path), list[Reading]()
    for record in story(_WORD_H + hours, [pour(_WORD_H, 0.25, raw("chloramine", 2.0))],
                        every_s=every_s):  # fmt: skip
        if not isinstance(record, Reading):
            continue
        waiting.append(record)
        if record.quantity == "orp":
            recorder.readings(waiting, _stamp(record.time_s))
            if record.time_s == ZERO_S + _WORD_H * HOUR_S:
                _left(path, refill(_WORD_H, litres=25, neutraliser_ml=25.0), record.time_s)
                recorder.inbox(_stamp(record.time_s))
            recorder.save(_stamp(record.time_s))
            waiting = []
    now_s = ZERO_S + (_WORD_H + hours) * HOUR_S
    with Journal.open(path) as people:
        number = people.latest("refill", "t")[0].seq
    right = refill(_WORD_H, litres=25, neutraliser_ml=0.0)
    _left(path, Correction(now_s, "t", number, right), now_s)
    turns = list[float]()
    while recorder.journal.inbox():
        begun_s = time.perf_counter()
        recorder.inbox(_stamp(now_s))
        turns.append(time.perf_counter() - begun_s)
    recorder.close(_stamp(now_s + 1.0))
    return Taken(sum(turns), max(turns), len(turns))


def _left(path: Path, event: Correction | object, time_s: float) -> None:
    with Journal.open(path) as people:
        people.submit(event, _stamp(time_s))  # type: ignore[arg-type]  # words of this story


def _stamp(time_s: float) -> Stamp:
    return Stamp(time_s, True, "boot", time_s - ZERO_S + 100.0)


def main() -> None:
    """Print it."""
    hours, every_s = (float(text) for text in (sys.argv[1:] or ["24", "30"]))
    with tempfile.TemporaryDirectory() as folder:
        it = taken(Path(folder), hours, every_s)
    print(
        f"a word of {hours:g} h ago, readings each {every_s:g} s: {it.all_s:.2f} s in {it.turns} "
        f"turns of the core, the longest {it.longest_s:.2f} s"
    )


if __name__ == "__main__":
    main()
