"""Broker and database are away for three simulated days, filled by the real core; then they come
back, as real servers, to real sinks."""

import json
from collections import Counter
from dataclasses import dataclass, replace
from pathlib import Path

from afterfill.config import Config
from afterfill.journal.store import Journal
from afterfill.records import QUANTITIES, AlarmChange, Reading, Stamp
from afterfill.service.machine import Machine
from afterfill.service.recorder import Recorder
from afterfill.sinks.health import SinkHealth
from afterfill.sinks.influx.sink import CURSOR as DATABASE
from afterfill.sinks.influx.sink import InfluxSink
from afterfill.sinks.mqtt.sink import MqttSink
from mqtt_peers import Listener
from sample_records import now, running
from servers import Broker, Engine, Shim, wait_until
from system.fault_row import Row, told

_EVERY_S, _MINUTE_S, _HOUR_S = 10.0, 60.0, 3600.0
_SOUR_EVERY_S = 4 * _HOUR_S  # then for half an hour, which raises and ends alarms
_LINE = {"driver": "line", "port": "/dev/none", "every_s": _EVERY_S}


@dataclass(frozen=True, slots=True)
class Absence:
    """What the journal holds of it."""

    journal: Path
    readings: int
    alarms: list[AlarmChange]

    @property
    def stalled(self) -> bool:
        """Whether the alarm about it was raised."""
        return any(a.alarm == "delivery-stalled" and a.active for a in self.alarms)


def broker_away(hours: int, folder: Path) -> Row:
    """MQTT: its topics are states, so afterwards the newest change of each alarm comes, and nothing
    of what was before it. A listener must be there first, so another sink goes on where the first
    stopped."""
    folder.mkdir()
    broker = Broker(folder / "broker")
    config = _config(mqtt={"host": "127.0.0.1", "port": broker.port})
    path = folder / "j.db"
    first = _stamp(now().time_s - (hours + 1) * _HOUR_S, 0.0)
    recorder = Recorder(config, path)
    _read(recorder, first)
    recorder.close(first)
    sink, again = (MqttSink(path, config, now) for _ in range(2))
    with running(sink):
        with broker:
            wait_until(lambda: sink.health().up, "the sink is up")
        absence = _filled(path, config, hours, "mqtt", sink)
        said = sink.health().detail
    (broker.folder / "mosquitto.db").unlink(missing_ok=True)
    with broker, Listener(broker.port, "afterfill/t/#") as listener, running(again):
        wait_until(lambda: again.health().up, "the sink is up")
        listener.wait_for("afterfill/t/estimate")
        heard = [json.loads(p) for topic, p, _ in listener.heard if "/alarm/" in topic]
    newest = {change.alarm: change.state for change in absence.alarms}
    told_of = Counter(str(change["alarm"]) for change in heard)
    told_as = {str(change["alarm"]): change["state"] for change in heard}
    lost = sum(told_as.get(alarm) != state for alarm, state in newest.items())
    doubled = sum(times - 1 for times in told_of.values())
    how = (
        f"{hours} simulated hours at 10 s, {len(absence.alarms)} changes of {len(newest)} alarms, "
        "mosquitto"
    )
    ways = told(("health", said), ("alarm delivery-stalled", absence.stalled))
    return Row("broker away", how, 1, lost, doubled, ways)


def database_away(hours: int, folder: Path) -> Row:
    """InfluxDB: every reading and every change of an alarm is a point, once."""
    folder.mkdir()
    engine, path = Engine(folder / "engine"), folder / "j.db"
    Journal.open(path).close()
    with Shim(engine) as shim:
        config = _config(influxdb={"url": shim.url, "every_s": 1, "batch": 2000})
        assert config.influxdb is not None
        sink = InfluxSink(path, config.influxdb, now, "pi-1", save_cursor_s=0.0)
        with running(sink):
            absence = _filled(path, config, hours, "influxdb", sink)
            with engine:
                engine.query('CREATE DATABASE "afterfill"')
                _wait_for_cursor(path, DATABASE)
                readings = _count(engine, 'SELECT count("value") FROM "reading"')
                alarms = _count(engine, 'SELECT count("state") FROM "alarm"')
    sent = Counter(line for _, lines in shim.requests for line in lines)
    again = _sent_again(sent)
    lost = absence.readings - readings + len(absence.alarms) - alarms
    how = (
        f"{hours} simulated hours at 10 s, {absence.readings} readings and {len(absence.alarms)} "
        f"changes of alarms, influxd; {again} points sent again, which overwrites them"
    )
    return Row(
        "database away", how, 1, max(lost, 0), max(-lost, 0),
        told(("alarm delivery-stalled", absence.stalled)),
    )  # fmt: skip


def _config(**sink: object) -> Config:
    probes = [{"tank": "t", "quantity": q, **_LINE} for q in QUANTITIES]
    return Config.model_validate({"tank": {"t": {"litres": 100}}, "probe": probes, **sink})


def _filled(
    path: Path, config: Config, hours: int, name: str, sink: MqttSink | InfluxSink
) -> Absence:
    """Let the core live through so many hours, at the end of which it is now."""
    begin_s = round(now().time_s) - hours * _HOUR_S
    recorder, at, readings = Recorder(config, path), _stamp(begin_s, 0.0), 0
    machine = Machine("t", path, 100.0, {name: lambda: _aged(sink.health(), at)})
    for number in range(int(hours * _HOUR_S / _EVERY_S)):
        at = _stamp(begin_s, number * _EVERY_S)
        if at.monotonic_s % _MINUTE_S == 0.0:
            recorder.machine([*machine.states(at), recorder.disk(at)], at)
        readings += len(_read(recorder, at))
        recorder.save(at)
    recorder.close(at)
    with Journal.open(path, read_only=True) as journal:
        kept = [e.record for e in journal.entries(kinds=("alarm",), limit=10**6)]
    return Absence(path, readings, [r for r in kept if isinstance(r, AlarmChange)])


def _aged(health: SinkHealth, at: Stamp) -> SinkHealth:
    """The sink lives in real seconds, its absence in simulated ones."""
    return health if health.up or health.age_s is None else replace(health, age_s=at.monotonic_s)


def _read(recorder: Recorder, at: Stamp) -> list[Reading]:
    sour = at.monotonic_s % _SOUR_EVERY_S < _HOUR_S / 2.0
    ripple = at.monotonic_s % 70.0 / 100.0
    values = {"orp": 312.0 + ripple, "ph": 9.6 if sour else 7.3, "temperature": 24.5 + ripple / 5.0}
    found = [Reading(at.time_s, "t", q, round(values[q], 3), f"t-{q}") for q in QUANTITIES]
    recorder.readings(found, at)
    return found


def _stamp(begin_s: float, seconds: float) -> Stamp:
    return Stamp(begin_s + seconds, True, "boot", seconds)


def _wait_for_cursor(path: Path, name: str) -> None:
    with Journal.open(path, read_only=True) as journal:
        last = journal.last_seq()
        wait_until(lambda: journal.cursor(name) >= last, f"the cursor reaches {last}", 110.0)


def _count(engine: Engine, query: str) -> int:
    return sum(row["count"] for row in engine.query(query))


def _sent_again(sent: Counter[str]) -> int:
    return sum(sent.values()) - len(sent)
