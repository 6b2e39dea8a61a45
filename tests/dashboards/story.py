"""The demo's journal, with what a demo has no use for: a second tank whose ORP probe falls silent,
health, alarms of the machine and the alarms' load; and its delivery by the real sink."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from afterfill.config import Config, Influxdb
from afterfill.config_file import load
from afterfill.journal.store import Journal
from afterfill.records import (
    Health,
    MachineState,
    Quantiles,
    Quantity,
    Reading,
    SourceBelieved,
    Stamp,
)
from afterfill.service.calendar import keep_load
from afterfill.service.recorder import Recorder
from afterfill.service.service import _limits
from afterfill.simulation import demo_scenario as demo
from afterfill.simulation.demo_run import CONFIG_NAME, JOURNAL_NAME, played
from afterfill.sinks.influx.sink import CURSOR, InfluxSink
from sample_records import running
from servers import Engine, Shim, wait_until

TANK, SILENT_TANK, HOST = demo.TANK, "shelf", "pi"
BEGIN_S, AFTER_S = demo.BEGIN_S + demo.START_S, 3600.0
END_S = demo.BEGIN_S + demo.END_S + AFTER_S
_STEP_S = 60.0
_VALUES: dict[Quantity, float] = {"orp": 305.0, "ph": 7.4, "temperature": 25.0}
_SHELF = f"""
[tank.{SILENT_TANK}]
litres = 60

[[probe]]
tank = "{SILENT_TANK}"
quantity = "orp"
driver = "line"
port = "shelf-probe"
every_s = 60
pattern = 'ORP=(?P<orp>-?[\\d.]+)'
"""

_FILTERED = SourceBelieved(  # a source with all that can be known of one
    END_S, SILENT_TANK, "osmosis", "filtered", "chlorine", Quantiles(0.0, 0.001, 0.3),
    END_S - 86_400.0, 2, 0.3, 0.8, True,
)  # fmt: skip


def told(folder: Path) -> Config:
    """Play the story into the journal of `folder`; returns its configuration."""
    for _ in played(folder):
        pass
    file = folder / CONFIG_NAME
    file.write_text(file.read_text() + _SHELF)
    config = load(file)
    recorder = Recorder(config, folder / JOURNAL_NAME)
    time_s = END_S - AFTER_S
    recorder.machine([MachineState(time_s, TANK, "power-low", True, "too low")], _stamp(time_s))
    while (time_s := time_s + _STEP_S) <= END_S:
        stamp = _stamp(time_s)
        recorder.readings(list(_readings(time_s)), stamp)
        recorder.health(_health(time_s), stamp)
    recorder.journal.append(_FILTERED, _stamp(END_S))
    keep_load(recorder, _stamp(END_S), list(config.tank))
    recorder.close(_stamp(END_S))
    return config


def _readings(time_s: float) -> Iterator[Reading]:
    for quantity, value in _VALUES.items():
        wobble = (time_s / _STEP_S) % 3 / 10  # a probe that stands still is no probe
        yield Reading(time_s, TANK, quantity, value + wobble, f"{TANK}-{quantity}")
    yield Reading(time_s, SILENT_TANK, "orp", None, f"{SILENT_TANK}-orp", "no-answer")


def _health(time_s: float) -> list[Health]:
    failures = int((time_s - END_S + AFTER_S) / _STEP_S)
    probes = [
        Health(time_s, TANK, f"probe {TANK}-{quantity}", True, 0.5, 0) for quantity in _VALUES
    ]
    silent = Health(
        time_s, SILENT_TANK, f"probe {SILENT_TANK}-orp", False, None, failures, "no-answer"
    )
    sink = Health(time_s, TANK, "sink mqtt", False, 900.0, failures, "the broker is away")
    return [*probes, silent, sink]


def _stamp(time_s: float) -> Stamp:
    return Stamp(time_s, True, "told", time_s - BEGIN_S + 10.0)


class _Clock:
    """The story's end, with a monotonic clock on which the next thing is always due."""

    def __init__(self) -> None:
        self._monotonic_s = 0.0

    def __call__(self) -> Stamp:
        self._monotonic_s += 400.0
        return Stamp(END_S, True, "delivery", self._monotonic_s)


@contextmanager
def delivered(folder: Path, engine: Engine) -> Iterator[Config]:
    """The story in the database, as the service writes it."""
    config = told(folder)
    engine.query("CREATE DATABASE afterfill")
    with Shim(engine) as shim, Journal.open(folder / JOURNAL_NAME) as journal:
        table = Influxdb(url=shim.url, every_s=1, batch=2000)
        sink = InfluxSink(
            journal.path, table, _Clock(), HOST,
            save_cursor_s=0.0, limits=_limits(config),
        )  # fmt: skip
        with running(sink):
            last = journal.last_seq()
            wait_until(lambda: journal.cursor(CURSOR) >= last, "all is delivered", 60)
    yield config
