import json
import re
from typing import Any

import pytest

from afterfill.alarms.panel import fresh_panel, judge
from afterfill.config import Config
from afterfill.sinks.discovery import UNJUDGED, discovery

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
        }
    )


@pytest.fixture
def announced() -> dict[str, dict[str, Any]]:
    return dict(discovery(config(), ALARMS))


def test_there_is_one_entity_for_each_reading_belief_verdict_and_alarm(
    announced: dict[str, dict[str, Any]],
) -> None:
    keys = {topic.removeprefix("homeassistant/").removesuffix("/config") for topic in announced}
    per_tank = ["residual", "p_over_limit", "free_ammonia", "verdict"]
    expected = {f"sensor/afterfill_window_{key}" for key in ["orp", "ph", "temperature", *per_tank]}
    expected |= {f"sensor/afterfill_Bad-2_{key}" for key in ["orp", *per_tank]}
    expected |= {
        f"binary_sensor/afterfill_{tank}_alarm_{alarm}"
        for tank in ("window", "Bad-2")
        for alarm in ALARMS
    }
    assert keys == expected


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
    assert announced["homeassistant/sensor/afterfill_window_orp/config"]["expire_after"] == 120
    assert announced["homeassistant/sensor/afterfill_window_ph/config"]["expire_after"] == 360
    for payload in announced.values():
        assert payload["availability_topic"] == "afterfill/status"
        assert "entity_category" not in payload  # an alarm is never filed under diagnostics


def test_an_alarm_that_cannot_be_judged_is_unknown_not_clear(
    announced: dict[str, dict[str, Any]],
) -> None:
    _, changes = judge(fresh_panel(), {"residual-oxidant": None}, lambda name: name, "window", 0.0)
    (change,) = changes
    assert not change.active
    assert change.message.startswith(UNJUDGED)
    alarm = announced["homeassistant/binary_sensor/afterfill_window_alarm_residual-oxidant/config"]
    assert alarm["value_template"] == (
        "{{ 'ON' if value_json.active else "
        "None if value_json.message.startswith('cannot be judged') else 'OFF' }}"
    )


def test_the_entities_of_a_tank_make_one_device(announced: dict[str, dict[str, Any]]) -> None:
    devices = {json.dumps(payload["device"]["identifiers"]) for payload in announced.values()}
    assert devices == {'["afterfill_window"]', '["afterfill_Bad-2"]'}


def test_base_and_prefix_are_those_of_the_configuration() -> None:
    found = dict(discovery(config(base="fish/room", discovery_prefix="hub"), ALARMS))
    orp = found["hub/sensor/fish_room_window_orp/config"]
    assert orp["state_topic"] == "fish/room/window/reading/orp"
    assert discovery(config(discovery_prefix=None), ALARMS) == []
