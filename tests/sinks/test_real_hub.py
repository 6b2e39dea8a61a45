"""A real home-automation hub finds every entity, with the right value, also after its restart.

AFTERFILL_HUB names the hub's program, in an environment of its own: for 2024.3 (Python 3.11) `pip
install -r tests/sinks/hub.txt`, as CI does it; for newer ones (2026.11: Python 3.14) `pip install
homeassistant` and what the `manifest.json` of its components frontend, mqtt, recorder, http, isal,
camera, infrared, radio_frequency, ffmpeg, stream, conversation, analytics, tts and hassio requires.
The README's test command leaves these tests out; `.ci/run` does not.
"""

import json
import os
import signal
import sqlite3
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from afterfill.journal.store import Journal
from afterfill.records import Record
from afterfill.sinks.mqtt import present as mqtt_present
from afterfill.sinks.mqtt.discovery import discovery
from afterfill.sinks.mqtt.sink import MqttSink
from mqtt_peers import config_for, lately, of_tank, retained, sink_to
from sample_records import START_S, alarm, forecast, now, one_of_each, orp, running, store
from servers import Broker, free_port, wait_until

pytestmark = [pytest.mark.hub, pytest.mark.system, pytest.mark.timeout(400)]
CONFIGURATION = """
http:
  server_host: 127.0.0.1
  server_port: {port}
recorder:
  commit_interval: 1
"""
NEWEST = """
SELECT m.entity_id, s.state FROM states s JOIN states_meta m ON m.metadata_id = s.metadata_id
WHERE s.state_id IN (SELECT max(state_id) FROM states WHERE state_id > ? GROUP BY metadata_id)
"""


def entry(broker_port: int) -> dict[str, object]:
    """The hub's own note that it has been told of a broker."""
    told = {
        "entry_id": "0123456789abcdef0123456789abcdef", "version": 1, "minor_version": 1,
        "domain": "mqtt", "title": "broker", "source": "user", "unique_id": None, "options": {},
        "data": {"broker": "127.0.0.1", "port": broker_port, "discovery": True},
        "disabled_by": None, "pref_disable_new_entities": False, "pref_disable_polling": False,
    }  # fmt: skip
    return {
        "version": 1, "minor_version": 1, "key": "core.config_entries", "data": {"entries": [told]}
    }  # fmt: skip


class Hub:
    """The hub's folder, and what its own history says of its entities."""

    def __init__(self, folder: Path, broker_port: int) -> None:
        self.folder = folder
        self._since = 0
        storage = folder / ".storage"
        storage.mkdir(parents=True)
        (storage / "core.config_entries").write_text(json.dumps(entry(broker_port)))
        (folder / "configuration.yaml").write_text(CONFIGURATION.format(port=free_port()))

    @contextmanager
    def run(self) -> Iterator[None]:
        self._since = max([0, *self._ids()])
        command = [os.environ["AFTERFILL_HUB"], "--skip-pip", "-c", str(self.folder)]
        with (self.folder / "hub.log").open("ab") as log:
            process = subprocess.Popen(command, stdout=log, stderr=log)
        try:
            yield
        finally:
            process.send_signal(signal.SIGTERM)
            process.wait(60)

    def _rows(self, query: str, *values: object) -> list[tuple[object, ...]]:
        path = self.folder / "home-assistant_v2.db"
        if not path.exists():
            return []
        db = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
        try:
            return db.execute(query, values).fetchall()
        except sqlite3.OperationalError:  # it is just making its tables
            return []
        finally:
            db.close()

    def _ids(self) -> list[int]:
        return [
            int(str(row[0])) for row in self._rows("SELECT max(state_id) FROM states") if row[0]
        ]

    def complaints(self) -> list[str]:
        """What the hub's log says of MQTT, of templates or of us, above the level of news."""
        lines = (self.folder / "hub.log").read_text(errors="replace").splitlines()
        about = ("mqtt", "afterfill", "template")
        loud = ("WARNING", "ERROR", "CRITICAL")
        return [
            line
            for line in lines
            if any(f" {level} " in line for level in loud) and any(word in line for word in about)
        ]

    def states(self) -> dict[str, str]:
        """The newest state of each entity since this start of the hub."""
        return {str(name): str(state) for name, state in self._rows(NEWEST, self._since)}


@pytest.fixture
def all_on(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every entity is switched on, so that every template is tried."""

    def announced(*arguments: Any) -> list[tuple[str, dict[str, Any]]]:
        return [(t, {**p, "enabled_by_default": True}) for t, p in discovery(*arguments)]

    monkeypatch.setattr(mqtt_present, "discovery", announced)


def entity_ids(port: int, tank: str = "window") -> dict[str, str]:
    """The id that we ask for, of each entity, by what is its own in it."""
    found = discovery(of_tank(config_for(port), tank), "any")
    asked = [str(payload["default_entity_id"]) for _, payload in found]
    return {name.partition(".")[2].removeprefix(f"afterfill_{tank}_"): name for name in asked}


EXPECTED = {
    "orp": "300.0",
    "orp_last_read": "a time",
    "ph": "unknown",
    "ph_last_read": "unavailable",
    "standing": "cannot-tell",
    "refill_ready": "off",
    "residual": "unknown",
    "p_over_limit": "unknown",
    "detection_floor": "unknown",
    "free_ammonia": "unknown",
    "residual_below_limit": "a time",
    "residual_below_limit_in": "30",
    "free_ammonia_peak": "0.12",
    "verdict": "carried-over",
    "refill_share": "25.0",
    "alarms": "on",
    "sees": "off",
    "alarm_residual_oxidant": "on",
    "alarm_ph": "off",
    "health_probe_window_orp_up": "on",
    "health_probe_window_orp_errors": "3",
    "log": "unknown",
}


def shows(hub: Hub, expected: dict[str, str], tank: str = "window") -> bool:
    """Whether the hub has these states; a time is one when it says a year."""
    states, ids = hub.states(), entity_ids(1883, tank)
    found = {key: states.get(ids[key], "") for key in expected}
    return {k: "a time" if v.startswith("20") else v for k, v in found.items()} == expected


@pytest.mark.usefixtures("all_on")
def test_a_hub_finds_every_entity_with_its_value_and_has_nothing_to_complain_of(
    journal: Journal, broker: Broker, tmp_path: Path
) -> None:
    store(journal, *map(lately, one_of_each()))
    hub = Hub(tmp_path / "hub", broker.port)
    with running(sink_to(journal, broker.port)):
        for _ in ("first start", "restart"):
            with hub.run():
                wait_until(lambda: shows(hub, EXPECTED), "the hub's values", 150)
                assert set(entity_ids(broker.port).values()) <= hub.states().keys()
                store(journal, *map(lately, _later()))
                wait_until(lambda: shows(hub, LATER), "what is not known any more", 30)
                store(journal, *map(lately, one_of_each()))
                wait_until(lambda: shows(hub, EXPECTED), "what is known again", 30)
    assert hub.complaints() == []


LATER = {
    "orp": "unknown",
    "orp_last_read": "a time",
    "residual_below_limit": "unavailable",
    "residual_below_limit_in": "unknown",
    "alarm_residual_oxidant": "unknown",
}


def _later() -> list[Record]:
    unjudged = replace(alarm(START_S + 9, active=False), known=False, state="normal")
    lost = replace(orp(9), value=None, invalid="port-lost")
    return [lost, forecast(START_S + 9, below_after_s=None), unjudged]


@pytest.mark.usefixtures("all_on")
def test_a_tank_that_is_dropped_leaves_the_hub_without_a_word(
    journal: Journal, broker: Broker, tmp_path: Path
) -> None:
    store(journal, *map(lately, one_of_each()))
    hub, config = Hub(tmp_path / "hub", broker.port), config_for(broker.port)
    other = {"tank": {"other": config.tank["window"]}, "probe": ()}
    with hub.run():
        with running(MqttSink(journal.path, config, now)):
            wait_until(lambda: shows(hub, EXPECTED), "the hub's values", 150)
        with running(MqttSink(journal.path, config.model_copy(update=other), now)):
            stands = {"standing": "unavailable"}
            wait_until(lambda: shows(hub, stands, "other"), "the other tank", 60)
            wait_until(lambda: not _kept_of("window", broker.port), "the dropped one is gone", 60)
    assert hub.complaints() == []


def _kept_of(tank: str, port: int) -> list[str]:
    return [topic for topic in retained(port, "#") if f"/{tank}/" in topic or f"_{tank}_" in topic]


def test_of_two_services_on_one_broker_one_may_stop_and_the_other_stays(
    journal: Journal, broker: Broker, tmp_path: Path
) -> None:
    hub, config = Hub(tmp_path / "hub", broker.port), config_for(broker.port)
    theirs = of_tank(config, "other")
    on, away = {"alarm_residual_oxidant": "on"}, {"alarm_residual_oxidant": "unavailable"}
    store(journal, *map(lately, one_of_each()))
    with hub.run(), Journal.open(tmp_path / "theirs.db") as second:
        store(second, *(replace(lately(r), tank="other") for r in one_of_each()))
        with running(MqttSink(journal.path, config, now)):
            with running(MqttSink(second.path, theirs, now)):
                wait_until(lambda: shows(hub, on) and shows(hub, on, "other"), "both", 150)
            wait_until(lambda: shows(hub, on) and shows(hub, away, "other"), "one", 30)
            assert retained(broker.port, "afterfill/status") == {"afterfill/status": b"online"}
        wait_until(lambda: shows(hub, away), "none", 30)
    assert hub.complaints() == []
