import json
import re
import threading
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from jinja2 import Environment

from afterfill.alarms.definitions import DEFINITIONS
from afterfill.config_file import parse
from afterfill.errors import ConfigError
from afterfill.journal.store import Journal
from afterfill.records import Quantiles, Record, SourceTest
from afterfill.service.clock import SystemClock
from afterfill.service.driver_registry import ports_of
from afterfill.service.sampler import Sampler
from afterfill.service.service import _health_source, _sinks
from afterfill.sinks.mqtt.commands import Command, obey
from afterfill.sinks.mqtt.discovery import components, discovery
from afterfill.sinks.mqtt.messages import record_message
from afterfill.wire import unix_s
from announced_entities import SERVICE, config, named
from sample_records import START_S, estimate, forecast, now, one_of_each, orp


@pytest.fixture
def announced() -> dict[str, dict[str, Any]]:
    return dict(discovery(config(), SERVICE))


# The keys as they are in hubs that know us: an entity keeps its id for ever.
KEYS = {
    "sensor": "standing residual p_over_limit detection_floor free_ammonia residual_below_limit "
    "residual_below_limit_in free_ammonia_peak verdict refill refill_share "
    "neutraliser_left",
    "binary_sensor": "refill_ready alarms sees",
    "button": "log",
    "number": "log_source_test",
}


def test_there_is_one_entity_for_each_reading_belief_verdict_refill_alarm_and_health_figure(
    announced: dict[str, dict[str, Any]],
) -> None:
    quantities = {"window": ["orp", "ph", "temperature"], "Bad-2": ["orp"]}
    for tank, read in quantities.items():
        parts = [f"probe-{tank}-{quantity}" for quantity in read]
        if tank == "window":
            parts += ["sink-mqtt", "sink-influxdb", "sink-notify-1", "sink-heartbeat-1"]
        alarms = [n for n, d in DEFINITIONS.items() if tank == "window" or d.group != "machine"]
        expected = {f"{kind}/{key}" for kind, keys in KEYS.items() for key in keys.split()}
        expected |= {f"sensor/{key}" for q in read for key in (q, f"{q}_last_read")}
        expected |= {f"sensor/health_{part}_{what}" for part in parts for what in ("age", "errors")}
        expected |= {f"binary_sensor/health_{part}_up" for part in parts}
        expected |= {f"binary_sensor/alarm_{alarm}" for alarm in alarms}
        expected |= {f"button/{verb}_{a}" for a in alarms for verb in ("acknowledge", "shelve")}
        assert set(named(announced, tank)) == expected


def test_a_dozen_entities_are_switched_on_and_have_names_in_words(
    announced: dict[str, dict[str, Any]],
) -> None:
    on = {
        key: found["name"]
        for key, found in named(announced, "window").items()
        if found["enabled_by_default"]
    }
    assert on == {
        "sensor/standing": "How it stands",
        "binary_sensor/alarms": "Needs you now",
        "binary_sensor/refill_ready": "A refill may begin",
        "sensor/residual": "Residual chlorine",
        "sensor/free_ammonia": "Un-ionised ammonia (NH3-N)",
        "sensor/orp": "ORP",
        "sensor/ph": "pH",
        "sensor/temperature": "Temperature",
        "sensor/verdict": "Last refill",
        "sensor/refill": "Last refill noticed at",
        "button/log": "Log a refill, amount not known",
        "binary_sensor/alarm_residual-oxidant": "Disinfectant over its limit",
        "binary_sensor/alarm_free-ammonia": "Ammonia over its limit",
    }
    names = [found["name"] for found in named(announced, "window").values()]
    assert len(set(names)) == len(names)
    slugs = [name for name in names for alarm in DEFINITIONS if "-" in alarm and alarm in name]
    assert slugs == []


def test_every_figure_says_with_how_many_digits_it_is_shown(
    announced: dict[str, dict[str, Any]],
) -> None:
    for topic, payload in announced.items():
        if "/number/" in topic:  # it has steps instead
            continue
        if "unit_of_measurement" in payload or payload.get("device_class") == "ph":
            assert payload["suggested_display_precision"] in range(5), topic


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
COMMON = {"unique_id", "object_id", "default_entity_id", "availability", "availability_mode"}
COMMON |= {"qos", "name", "device", "origin", "enabled_by_default"}
STATE = {"state_topic", "value_template", "expire_after", "device_class", "entity_category"}
STATE |= {"json_attributes_topic"}
SENSOR = {"unit_of_measurement", "state_class", "suggested_display_precision", "options"}
ALLOWED = {
    "sensor": COMMON | STATE | SENSOR,
    "binary_sensor": COMMON | STATE,
    "button": COMMON | {"command_topic", "payload_press", "retain"},
    "number": COMMON
    | {"command_topic", "command_template", "retain", "min", "max", "step", "mode"}
    | {"unit_of_measurement"},
}


def test_only_keys_that_the_component_knows_are_used(
    announced: dict[str, dict[str, Any]],
) -> None:
    for topic, payload in announced.items():
        component = topic.split("/")[1]
        assert payload.keys() <= ALLOWED[component], topic
        if component not in ("button", "number"):
            assert payload["state_topic"].startswith("afterfill/"), topic


def test_a_number_sends_a_source_test_that_is_obeyed(
    announced: dict[str, dict[str, Any]], journal: Journal
) -> None:
    (number,) = (p for p in named(announced, "window").values() if "command_template" in p)
    topic = number["command_topic"].removeprefix("afterfill/")
    text = Environment().from_string(number["command_template"]).render(value=2.5)
    command = Command(topic, text.encode(), retained=False)
    _, answer = obey(command, config=config(), alarms=DEFINITIONS, journal=journal, stamp=now())
    assert answer["ok"], answer
    ((_, event, _),) = journal.inbox()
    assert isinstance(event, SourceTest)
    assert event.total_chlorine_mg_l == 2.5


def test_buttons_send_commands_that_are_obeyed(
    announced: dict[str, dict[str, Any]], journal: Journal
) -> None:
    buttons = [payload for topic, payload in announced.items() if "/button/" in topic]
    for button in buttons:
        assert button["retain"] is False
        topic = button["command_topic"].removeprefix("afterfill/")
        command = Command(topic, button["payload_press"].encode(), retained=False)
        _, answer = obey(command, config=config(), alarms=DEFINITIONS, journal=journal, stamp=now())
        assert answer["ok"], answer
    assert len(journal.inbox(limit=1000)) == len(buttons) > 2 * len(DEFINITIONS)


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


def test_readings_expire_and_all_go_unavailable_with_their_service_or_their_tank(
    announced: dict[str, dict[str, Any]],
) -> None:
    assert announced["homeassistant/sensor/afterfill_window_orp/config"]["expire_after"] == 180
    assert announced["homeassistant/sensor/afterfill_window_ph/config"]["expire_after"] == 420
    for tank in ("window", "Bad-2"):
        for payload in named(announced, tank).values():
            assert payload["availability_mode"] == "all"
            assert [place["topic"] for place in payload["availability"][:2]] == [
                f"afterfill/service/{SERVICE}/status", f"afterfill/{tank}/status"
            ]  # fmt: skip


def test_behind_a_bridge_every_entity_goes_unavailable_with_it() -> None:
    settings = config()
    assert settings.mqtt is not None
    mqtt = settings.mqtt.model_copy(update={"bridge_topic": "bridge/room"})
    bridged = discovery(settings.model_copy(update={"mqtt": mqtt}), SERVICE)
    says = {"topic": "bridge/room", "payload_available": "1", "payload_not_available": "0"}
    assert all(says in payload["availability"] for _, payload in bridged)
    assert not any(says in payload["availability"] for _, payload in discovery(settings, SERVICE))


def test_alarms_and_what_a_keeper_asks_for_are_never_filed_under_diagnostics(
    announced: dict[str, dict[str, Any]],
) -> None:
    filed = {key for key, found in named(announced, "window").items() if "entity_category" in found}
    aside = ("_health_", "/health_", "_last_read", "/sees", "/detection_floor")
    assert all(any(word in key for word in aside) for key in filed)
    for topic, payload in announced.items():
        if "_health_" in topic:
            assert payload["entity_category"] == "diagnostic"
            assert payload["expire_after"] == 300
        if "entity_category" in payload:
            assert not payload["enabled_by_default"], topic


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


def rendered(template: str, message: dict[str, Any], state: str = "unknown") -> str:
    """A template as a hub renders it, with the one function of the hub that ours use."""
    environment = Environment()
    environment.globals["as_timestamp"] = unix_s
    return environment.from_string(template).render(value_json=message, this={"state": state})


def shown(
    announced: dict[str, dict[str, Any]], *records: Record, state: str = "unknown"
) -> dict[str, str]:
    """What the hub shows of some records; "-" where an entity has nothing to show."""
    told = {
        m.topic: json.loads(m.payload) for r in records if (m := record_message("afterfill", r))
    }
    found = {}
    for topic, payload in announced.items():
        if payload.get("state_topic") in told:
            message = told[payload["state_topic"]]
            hidden = [
                rendered(place["value_template"], message, state) == "offline"
                for place in payload["availability"][2:]
            ]
            key = topic.split("afterfill_")[1].removesuffix("/config")
            value = rendered(payload["value_template"], message, state)
            found[key] = "-" if any(hidden) else value
    return found


def test_every_template_renders_what_the_sink_publishes(
    announced: dict[str, dict[str, Any]],
) -> None:
    """A null must come out as the text None, which a hub shows as unknown."""
    seen = replace(estimate(START_S), sees=True, why_blind=None, detection_floor_mg_l=0.06)
    records = [*one_of_each(), seen, orp(1, 15.360999999999999, tank="Bad-2")]
    assert shown(announced, *records) == {
        "window_orp": "300.0", "window_orp_last_read": "2026-03-01T07:30:00Z",
        "window_ph": "None", "window_ph_last_read": "-",
        "window_standing": "cannot-tell", "window_refill_ready": "OFF",
        "window_residual": "0.12", "window_p_over_limit": "3.0", "window_free_ammonia": "None",
        "window_detection_floor": "0.06", "window_sees": "ON",
        "window_residual_below_limit": "2026-03-01T08:00:01Z",
        "window_residual_below_limit_in": "30", "window_free_ammonia_peak": "0.12",
        "window_verdict": "carried-over",
        "window_refill": "2026-03-01T07:30:02Z", "window_refill_share": "25.0",
        "window_alarm_residual-oxidant": "ON",
        "window_health_probe-window-orp_up": "ON", "window_health_probe-window-orp_age": "0.5",
        "window_health_probe-window-orp_errors": "3",
        "Bad-2_orp": "15.361", "Bad-2_orp_last_read": "2026-03-01T07:30:01Z",
    }  # fmt: skip


def test_what_a_blind_probe_cannot_see_is_unknown(announced: dict[str, dict[str, Any]]) -> None:
    blind = replace(estimate(START_S), residual_mg_l=Quantiles(0.0, 0.0, 0.1), p_over_limit=0.0)
    found = shown(announced, blind)
    assert found.pop("window_sees") == "OFF"
    assert set(found.values()) == {"None"}


@pytest.mark.parametrize(
    ("below_after_s", "at", "within"),
    [(1800.0, "2026-03-01T08:00:00Z", "30"), (0.0, "-", "0"), (None, "-", "None")],
)
def test_when_the_residual_will_be_below_its_limit_is_never_a_time_that_has_passed(
    announced: dict[str, dict[str, Any]], below_after_s: float | None, at: str, within: str
) -> None:
    found = shown(announced, forecast(START_S, below_after_s=below_after_s))
    assert found["window_residual_below_limit"] == at
    assert found["window_residual_below_limit_in"] == within


def test_when_a_probe_last_gave_a_value_stays_while_it_gives_none(
    announced: dict[str, dict[str, Any]],
) -> None:
    without = replace(orp(5), value=None, invalid="no-answer")
    then = "2026-03-01T07:00:00+00:00"
    assert shown(announced, without, state=then)["window_orp_last_read"] == then
    assert shown(announced, without, state="unavailable")["window_orp_last_read"] == "-"


def test_the_entities_of_a_tank_make_one_device(announced: dict[str, dict[str, Any]]) -> None:
    devices = {json.dumps(payload["device"]["identifiers"]) for payload in announced.values()}
    assert devices == {'["afterfill_window"]', '["afterfill_Bad-2"]'}


def test_base_and_prefix_are_those_of_the_configuration() -> None:
    found = dict(discovery(config(base="fish/room", discovery_prefix="hub"), SERVICE))
    orp = found["hub/sensor/fish_room_window_orp/config"]
    assert orp["state_topic"] == "fish/room/window/reading/orp"
    assert discovery(config(discovery_prefix=""), SERVICE) == []


@pytest.mark.parametrize("key", ["base", "discovery_prefix"])
@pytest.mark.parametrize("name", ["a#", "a+b", "a//b", "/a", "a/", "a b", "$SYS"])
def test_a_topic_that_no_broker_would_take_is_refused_in_one_sentence(key: str, name: str) -> None:
    text = f'[tank.t]\nlitres = 9\n[mqtt]\nhost = "b"\n{key} = "{name}"\n'
    with pytest.raises(ConfigError, match=re.escape(f"'{name}' cannot begin a topic; write")):
        parse(text, "afterfill.toml")


def test_a_hundred_tanks_are_described_at_once() -> None:
    """While a service describes its entities no alarm goes out. User CPU, at most a tenth of what
    parsing the package's metadata for each entity took (9 s for 25 tanks)."""
    settings = config()
    tanks = {f"t{number}": settings.tank["window"] for number in range(100)}
    many = settings.model_copy(update={"tank": tanks, "probe": ()})
    before_s = time.process_time()
    assert len(discovery(many, SERVICE)) > 5000
    assert time.process_time() - before_s < 3.6
