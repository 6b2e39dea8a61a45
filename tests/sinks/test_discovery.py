import json
import re
import threading
from pathlib import Path
from typing import Any

import pytest
from jinja2 import Environment

from afterfill.alarms.definitions import DEFINITIONS
from afterfill.config import Config
from afterfill.journal.store import Journal
from afterfill.service.clock import SystemClock
from afterfill.service.driver_registry import ports_of
from afterfill.service.sampler import Sampler
from afterfill.service.service import _health_source, _sinks
from afterfill.sinks.discovery import components, discovery
from afterfill.sinks.mqtt_commands import Command, obey
from afterfill.sinks.mqtt_messages import record_message
from sample_records import now, one_of_each, orp

ALARMS = ["residual-oxidant", "probe-lost"]


def config(**mqtt: object) -> Config:
    probe = {"driver": "line", "port": "/dev/null"}
    return Config.model_validate(
        {
            "tank": {"window": {"litres": 200}, "Bad-2": {"litres": 80}},
            "probe": [
                {**probe, "tank": "window", "quantity": "orp", "every_s": 2},
                {**probe, "tank": "window", "quantity": "ph", "every_s": 60},
                {**probe, "tank": "window", "quantity": "temperature"},
                {**probe, "tank": "Bad-2", "quantity": "orp"},
            ],
            "mqtt": {"host": "broker", **mqtt},
            "influxdb": {"url": "http://localhost:8086"},
            "notify": [{"url_file": "push", "heartbeat_url_file": "beat"}],
        }
    )


@pytest.fixture
def announced() -> dict[str, dict[str, Any]]:
    return dict(discovery(config(), ALARMS))


def test_there_is_one_entity_for_each_reading_belief_verdict_refill_alarm_and_health_figure(
    announced: dict[str, dict[str, Any]],
) -> None:
    keys = {topic.removeprefix("homeassistant/").removesuffix("/config") for topic in announced}
    quantities = {"window": ["orp", "ph", "temperature"], "Bad-2": ["orp"]}
    parts = {"window": ["orp", "ph", "temperature"], "Bad-2": ["orp"]}
    parts = {tank: [f"probe-{tank}-{q}" for q in found] for tank, found in parts.items()}
    parts["window"] += ["sink-mqtt", "sink-influxdb", "sink-notify-1", "sink-heartbeat-1"]
    expected = set()
    for tank, read in quantities.items():
        sensors = ["residual", "p_over_limit", "free_ammonia", "verdict", "refill", "refill_share"]
        sensors += ["residual_below_limit", "free_ammonia_peak"]
        sensors += [*read, *(f"{quantity}_last_read" for quantity in read)]
        sensors += [f"health_{part}_{what}" for part in parts[tank] for what in ("age", "errors")]
        binary = [f"alarm_{alarm}" for alarm in ALARMS]
        binary += [f"health_{part}_up" for part in parts[tank]]
        buttons = [f"{verb}_{alarm}" for alarm in ALARMS for verb in ("acknowledge", "shelve")]
        expected |= {f"sensor/afterfill_{tank}_{key}" for key in sensors}
        expected |= {f"binary_sensor/afterfill_{tank}_{key}" for key in binary}
        expected |= {f"button/afterfill_{tank}_{key}" for key in [*buttons, "log"]}
    assert keys == expected


def test_all_whose_health_the_service_tells_are_announced(tmp_path: Path) -> None:
    settings = config()
    sinks = _sinks(settings, tmp_path / "j.db", SystemClock(threading.Event()))
    samplers = [Sampler(plan) for plan in ports_of(settings)]
    told = _health_source(settings, samplers, sinks, [], None)(now())
    for tank in settings.tank:
        ours = {record.component for record in told if record.tank == tank}
        assert set(components(settings, tank)) == ours


# Keys of the convention, by component (its documentation; from memory, and seen to be taken by a
# hub in the test that starts one).
COMMON = {"unique_id", "object_id", "availability_topic", "payload_available", "device", "origin"}
COMMON |= {"payload_not_available", "qos", "name", "device_class", "entity_category"}
COMMON |= {"enabled_by_default", "json_attributes_topic"}
STATE = {"state_topic", "value_template", "expire_after"}
SENSOR = {"unit_of_measurement", "state_class", "suggested_display_precision", "options"}
ALLOWED = {
    "sensor": COMMON | STATE | SENSOR,
    "binary_sensor": COMMON | STATE,
    "button": COMMON | {"command_topic", "payload_press", "retain"},
}


def test_only_keys_that_the_component_knows_are_used(
    announced: dict[str, dict[str, Any]],
) -> None:
    for topic, payload in announced.items():
        component = topic.split("/")[1]
        assert payload.keys() <= ALLOWED[component], topic
        if component != "button":
            assert payload["state_topic"].startswith("afterfill/"), topic


def test_buttons_send_commands_that_are_obeyed(
    announced: dict[str, dict[str, Any]], journal: Journal
) -> None:
    buttons = [payload for topic, payload in announced.items() if "/button/" in topic]
    for button in buttons:
        assert button["retain"] is False
        topic = button["command_topic"].removeprefix("afterfill/")
        command = Command(topic, button["payload_press"].encode(), retained=False)
        _, answer = obey(
            command, tanks=["window", "Bad-2"], alarms=DEFINITIONS, journal=journal, stamp=now()
        )
        assert answer["ok"], answer
    assert len(journal.inbox()) == len(buttons) == 2 * (1 + 2 * len(ALARMS))


def test_ids_are_unique_plain_and_depend_on_base_and_tank_only(
    announced: dict[str, dict[str, Any]],
) -> None:
    ids = [payload["unique_id"] for payload in announced.values()]
    assert len(set(ids)) == len(ids)
    assert all(re.fullmatch(r"[A-Za-z0-9_-]+", unique_id) for unique_id in ids)
    moved = discovery(config(host="elsewhere", port=8883), ALARMS)
    assert [payload["unique_id"] for _, payload in moved] == ids


def test_units_and_classes_are_those_the_convention_knows(
    announced: dict[str, dict[str, Any]],
) -> None:
    orp = announced["homeassistant/sensor/afterfill_window_orp/config"]
    ph = announced["homeassistant/sensor/afterfill_window_ph/config"]
    residual = announced["homeassistant/sensor/afterfill_window_residual/config"]
    assert (orp["device_class"], orp["unit_of_measurement"]) == ("voltage", "mV")
    assert ph["device_class"] == "ph"
    assert "unit_of_measurement" not in ph
    assert residual["unit_of_measurement"] == "mg/L"
    assert "device_class" not in residual


def test_readings_expire_and_all_go_unavailable_with_the_service(
    announced: dict[str, dict[str, Any]],
) -> None:
    assert announced["homeassistant/sensor/afterfill_window_orp/config"]["expire_after"] == 180
    assert announced["homeassistant/sensor/afterfill_window_ph/config"]["expire_after"] == 420
    for payload in announced.values():
        assert payload["availability_topic"] == "afterfill/status"


def test_only_health_is_filed_under_diagnostics(announced: dict[str, dict[str, Any]]) -> None:
    for topic, payload in announced.items():
        assert ("entity_category" in payload) == ("_health_" in topic)
        if "_health_" in topic:
            assert payload["entity_category"] == "diagnostic"
            assert payload["expire_after"] == 300


def test_an_alarm_that_cannot_be_judged_is_unknown_not_clear(
    announced: dict[str, dict[str, Any]],
) -> None:
    alarm = announced["homeassistant/binary_sensor/afterfill_window_alarm_residual-oxidant/config"]
    template = Environment().from_string(alarm["value_template"])
    shown = {
        (active, known): template.render(value_json={"active": active, "known": known})
        for active, known in [(True, True), (True, False), (False, True), (False, False)]
    }
    assert shown == {
        (True, True): "ON", (True, False): "ON", (False, True): "OFF", (False, False): "None",
    }  # fmt: skip


def test_every_template_renders_what_the_sink_publishes(
    announced: dict[str, dict[str, Any]],
) -> None:
    """A null must come out as the text None, which a hub shows as unknown."""
    records = [*one_of_each(), orp(1, tank="Bad-2")]
    published = {m.topic: m.payload for r in records if (m := record_message("afterfill", r))}
    shown = {
        topic.split("afterfill_")[1].removesuffix("/config"): Environment()
        .from_string(payload["value_template"])
        .render(value_json=json.loads(published[payload["state_topic"]]), this={"state": "unknown"})
        for topic, payload in announced.items()
        if payload.get("state_topic") in published
    }
    assert shown == {
        "window_orp": "300.0", "window_orp_last_read": "2026-03-01T07:30:00Z",
        "window_ph": "None", "window_ph_last_read": "None",
        "window_residual": "0.12", "window_p_over_limit": "3.0", "window_free_ammonia": "None",
        "window_verdict": "carried-over",
        "window_refill": "2026-03-01T07:30:02Z", "window_refill_share": "25.0",
        "window_alarm_residual-oxidant": "ON",
        "window_health_probe-window-orp_up": "ON", "window_health_probe-window-orp_age": "0.5",
        "window_health_probe-window-orp_errors": "3",
        "Bad-2_orp": "301.0", "Bad-2_orp_last_read": "2026-03-01T07:30:01Z",
    }  # fmt: skip


def test_the_entities_of_a_tank_make_one_device(announced: dict[str, dict[str, Any]]) -> None:
    devices = {json.dumps(payload["device"]["identifiers"]) for payload in announced.values()}
    assert devices == {'["afterfill_window"]', '["afterfill_Bad-2"]'}


def test_base_and_prefix_are_those_of_the_configuration() -> None:
    found = dict(discovery(config(base="fish/room", discovery_prefix="hub"), ALARMS))
    orp = found["hub/sensor/fish_room_window_orp/config"]
    assert orp["state_topic"] == "fish/room/window/reading/orp"
    assert discovery(config(discovery_prefix=None), ALARMS) == []
