"""What `afterfill export` of a long time costs: builds a journal, exports it, prints a table.

The journal holds what the service keeps of one tank: three probes at 30 s, an estimate and the
health of three probes and two sinks each minute, a forecast each half hour, a commit each minute,
a dose each day. The command runs as a process of its own; then its parts once more, one by one, in
this process.

Run it: `python tests/bench/export_speed.py [days] [folder]`; a journal that is in the folder is
taken as it is.
"""

import random
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

from afterfill.journal.recording import TEXT_KINDS, read_recording, write_recording
from afterfill.journal.store import Journal
from afterfill.journal.survey import surveyed
from afterfill.records import Dose, Estimate, Forecast, Health, Quantiles, Reading, Record, Stamp

_END_S = 4e9
START_S = 1_772_323_200.0
TANK = "window"
_DAY_MIN = 1440
_COMPONENTS = ("probe window-t", "probe window-ph", "probe window-orp", "sink mqtt", "sink influx")


def built(path: Path, days: float) -> None:
    """Make the journal at `path` of `days` [d]. Raises JournalError."""
    chance = random.Random(1)
    with Journal.open(path) as journal:
        for minute in range(round(days * _DAY_MIN)):
            time_s = START_S + 60.0 * minute
            for record in _of_a_minute(minute, time_s, chance):
                stamp = Stamp(
                    record.time_s, True, "boot", round(record.time_s - START_S + 100.0, 3)
                )
                journal.append(record, stamp)
            journal.commit(flush=False)


def _of_a_minute(minute: int, time_s: float, chance: random.Random) -> Iterator[Record]:
    if minute % _DAY_MIN == 0:
        yield Dose(time_s, TANK, 1.0)
    readings = _readings(time_s, chance)
    yield from readings
    time_s = readings[-1].time_s
    yield _estimate(time_s, chance)
    if minute % 30 == 0:
        yield Forecast(time_s, TANK, 24.0, time_s, time_s, _some(chance, 0.001), time_s)
    for component in _COMPONENTS:
        yield Health(time_s, TANK, component, True, round(chance.uniform(0, 30), 3), 0)
    yield from _readings(START_S + 60.0 * minute + 30.0, chance)


def _readings(time_s: float, chance: random.Random) -> list[Reading]:
    late_s = time_s + chance.randrange(40) / 1000
    return [
        Reading(late_s, TANK, "temperature", round(chance.gauss(25.0, 0.02), 2), "window-t"),
        Reading(late_s, TANK, "ph", round(chance.gauss(7.2, 0.01), 2), "window-ph"),
        Reading(late_s, TANK, "orp", round(chance.gauss(310.0, 0.5), 1), "window-orp"),
    ]


def _estimate(time_s: float, chance: random.Random) -> Estimate:
    residual, ammonia = _some(chance, 0.01), _some(chance, 0.05)
    free = Quantiles(0.0, 0.0, 0.0)
    floor_mg_l = _digits(chance.uniform(0.03, 0.04))
    return Estimate(
        time_s, TANK, residual, free, residual, ammonia, _some(chance, 0.001), 0.0, floor_mg_l,
        sees=True, why_blind=None,
    )  # fmt: skip


def _some(chance: random.Random, size: float) -> Quantiles:
    low, middle, high = sorted(_digits(chance.uniform(0.0, size)) for _ in range(3))
    return Quantiles(low, middle, high)


def _digits(value: float) -> float:
    return float(f"{value:.5g}")


def measured(days: float, folder: Path) -> dict[str, float]:
    """User CPU [s] of the command as a process, and CPU [s] of its parts, for `days` [d]."""
    journal = folder / "journal.db"
    if not journal.exists():
        built(journal, days)
    config, out = folder / "afterfill.toml", folder / "recording"
    config.write_text(f'[journal]\npath = "journal.db"\n[tank.{TANK}]\nlitres = 100\n')
    command = [sys.executable, "-m", "afterfill.cli.main", "export", "--config", str(config)]
    before_s = resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime
    subprocess.run([*command, "--json", str(out)], check=True, stdout=subprocess.DEVNULL)
    found = {"export, user CPU": resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime - before_s}
    return found | _parts(journal, out)


def _parts(path: Path, out: Path) -> dict[str, float]:
    def all_of(readings: Iterable[object]) -> None:
        for _ in readings:
            pass

    with Journal.open(path, read_only=True) as journal:
        texts = journal.texts_between(TANK, 0.0, _END_S, kinds=TEXT_KINDS)
        return {
            "blocks to texts": _cpu_s(lambda: all_of(texts)),
            "texts and files": _cpu_s(lambda: write_recording(journal, TANK, 0.0, _END_S, out)),
            "what was left out": _cpu_s(
                lambda: surveyed(path, alone=False, known=journal.sound_blocks)
            ),
            "replay reads it": _cpu_s(lambda: all_of(read_recording(out, TANK))),
        }


def _cpu_s(part: Callable[[], object]) -> float:
    began_s = time.process_time()
    part()
    return time.process_time() - began_s


def main() -> None:
    """See the module."""
    days = float(sys.argv[1]) if len(sys.argv) > 1 else 150.0
    with tempfile.TemporaryDirectory() as own:
        folder = Path(sys.argv[2]) if len(sys.argv) > 2 else Path(own)
        for part, seconds in measured(days, folder).items():
            print(f"{part:20s} {seconds:8.2f} s", flush=True)


if __name__ == "__main__":
    main()
