"""A real home-automation hub finds every entity, with the right value, also after its restart.

Left out unless AFTERFILL_HUB names the hub's program, installed in an environment of its own (for
Python 3.11) with the parts that it would else fetch at its first start: `pip install
homeassistant==2024.3.3 paho-mqtt==1.6.1 SQLAlchemy==2.0.27 janus==1.0.0 aiohttp_cors==0.7.0
aiohttp-fast-url-dispatcher==0.3.0 aiohttp-zlib-ng==0.3.1 fnv-hash-fast==0.5.0
psutil-home-assistant==0.0.1 home-assistant-frontend==20240307.0 Pillow==10.2.0
securetar==2024.2.0 'josepy<2'`; then AFTERFILL_HUB=.../bin/hass.
"""

import json
import os
import signal
import sqlite3
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from afterfill.alarms.definitions import DEFINITIONS
from afterfill.journal.store import Journal
from afterfill.sinks.discovery import discovery
from mqtt_peers import config_for, lately, sink_to
from sample_records import one_of_each, running, store
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

    def states(self) -> dict[str, str]:
        """The newest state of each entity since this start of the hub."""
        return {str(name): str(state) for name, state in self._rows(NEWEST, self._since)}


def test_a_hub_finds_every_entity_with_its_value_also_after_a_restart(
    journal: Journal, broker: Broker, tmp_path: Path
) -> None:
    store(journal, *map(lately, one_of_each()))
    ids = {
        f"{topic.split('/')[1]}.{str(payload['object_id']).replace('-', '_').lower()}"
        for topic, payload in discovery(config_for(broker.port), list(DEFINITIONS))
        if payload.get("enabled_by_default", True)
    }
    expected = {
        "sensor.afterfill_window_orp": "300.0",
        "sensor.afterfill_window_ph": "unknown",
        "sensor.afterfill_window_residual": "0.12",
        "sensor.afterfill_window_free_ammonia": "unknown",
        "sensor.afterfill_window_verdict": "carried-over",
        "sensor.afterfill_window_refill_share": "25.0",
        "binary_sensor.afterfill_window_alarm_residual_oxidant": "on",
        "binary_sensor.afterfill_window_alarm_ph": "unknown",
        "binary_sensor.afterfill_window_health_probe_window_orp_up": "on",
        "sensor.afterfill_window_health_probe_window_orp_errors": "3",
        "button.afterfill_window_log": "unknown",
    }
    hub = Hub(tmp_path / "hub", broker.port)
    with running(sink_to(journal, broker.port)):
        for _ in ("first start", "restart"):
            with hub.run():
                wait_until(
                    lambda: expected.items() <= hub.states().items(), "the hub's values", 120
                )
                assert ids <= hub.states().keys()
                missing = {name for name in ids if hub.states()[name] == "unavailable"}
                assert all(
                    "_health_" in name and "probe_window_orp" not in name for name in missing
                )
    with hub.run():  # nobody publishes now
        wait_until(
            lambda: hub.states().get("sensor.afterfill_window_orp") == "unavailable", "offline", 90
        )
