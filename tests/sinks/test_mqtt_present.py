"""What the broker is told at the start, after an outage and when the configuration changes: the
present, all of it and nothing else. Against a real mosquitto."""

import json
from dataclasses import replace

import pytest

from afterfill.alarms.definitions import DEFINITIONS
from afterfill.config import Units
from afterfill.journal.store import Journal
from afterfill.sinks.mqtt import present as mqtt_present
from afterfill.sinks.mqtt import sink as mqtt
from afterfill.sinks.mqtt.sink import MqttSink
from mqtt_peers import Listener, config_for, lately, obeying, retained, sink_to, wait_for_online
from sample_records import (
    START_S,
    alarm,
    estimate,
    now,
    one_of_each,
    orp,
    running,
    standing,
    store,
    verdict,
)
from servers import Broker, wait_until

pytestmark = pytest.mark.system
OXIDANT = "afterfill/window/alarm/residual-oxidant"


def times(payloads: list[bytes]) -> list[str]:
    """The times of some records, each once, in order."""
    return list(dict.fromkeys(json.loads(payload)["time"] for payload in payloads))


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_while_the_connection_holds_every_record_is_sent_in_order(
    journal: Journal, broker: Broker, version: str
) -> None:
    with obeying(journal, broker.port, version=version) as listener:
        store(journal, *map(orp, range(200)), *(alarm(START_S + n) for n in range(60)))
        listener.wait_for(OXIDANT, lambda p: b"07:30:59Z" in p)
        values = [json.loads(p)["value"] for p in listener.payloads("afterfill/window/reading/orp")]
        changes = [p for p in listener.payloads(OXIDANT) if b"unacknowledged" in p]
    assert values == [300.0 + n for n in range(200)]
    assert times(changes) == [f"2026-03-01T07:30:{n:02d}Z" for n in range(60)]


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_after_an_outage_the_newest_of_each_topic_is_sent_and_nothing_before_it(
    journal: Journal, broker: Broker, version: str
) -> None:
    with running(sink := sink_to(journal, broker.port, version=version)):
        wait_until(lambda: sink.health().up, "the sink is connected")
        with Listener(broker.port, "afterfill/window/#") as listener:
            store(journal, verdict(START_S - 1))
            listener.wait_for("afterfill/window/verdict")
        broker.kill()
        wait_until(lambda: not sink.health().up, "the loss is noticed")
        day = [orp(second) for second in range(0, 86_400, 10)]
        rises = [alarm(START_S + n, active=bool(n % 2)) for n in range(100)]
        refills = [verdict(START_S + n) for n in range(100)]
        late = [lately(orp(7)), lately(orp(8)), lately(estimate(START_S + 8))]
        store(journal, *day, *rises, *refills, *late)
        (broker.folder / "mosquitto.db").unlink(missing_ok=True)
        broker.start()
        with Listener(broker.port, "afterfill/window/#") as listener:
            listener.wait_for("afterfill/window/estimate")
            store(journal, lately(orp(9)))
            listener.wait_for("afterfill/window/reading/orp", lambda p: b"309.0" in p)
            heard = {t: [p for n, p, _ in listener.heard if n == t] for t, _, _ in listener.heard}
    readings = [json.loads(p)["value"] for p in heard["afterfill/window/reading/orp"]]
    assert list(dict.fromkeys(readings)) == [308.0, 309.0]
    assert times(heard[OXIDANT]) == ["2026-03-01T07:31:39Z"]
    assert times(heard["afterfill/window/verdict"]) == ["2026-03-01T07:31:39Z"]


def test_a_service_leaves_no_cursor_that_would_keep_the_journal_from_being_pruned(
    journal: Journal, broker: Broker
) -> None:
    journal.move_cursor("mqtt", 5)  # as an older version left it
    with obeying(journal, broker.port) as listener:
        store(journal, verdict(START_S))
        listener.wait_for("afterfill/window/verdict")
    assert journal.cursor("mqtt") == 0


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_a_broker_that_lost_what_it_kept_gets_the_present_again(
    journal: Journal, broker: Broker, version: str
) -> None:
    with obeying(journal, broker.port, version=version) as first:
        store(journal, *map(lately, one_of_each()))
        first.wait_for("afterfill/window/standing")
        broker.kill()
        (broker.folder / "mosquitto.db").unlink(missing_ok=True)
        broker.start()
        with Listener(broker.port, "afterfill/#") as listener:
            wait_for_online(listener)
            for topic in ("verdict", "estimate", "reading/orp", "standing", "forecast"):
                listener.wait_for(f"afterfill/window/{topic}")
            listener.wait_for(OXIDANT, lambda p: b"unacknowledged" in p)


def test_a_new_sink_publishes_the_present_of_an_old_journal_not_its_history(
    journal: Journal, broker: Broker
) -> None:
    store(journal, *(verdict(START_S + n) for n in range(50)), *map(lately, map(orp, range(3000))))
    with Listener(broker.port, "afterfill/#") as listener, running(sink_to(journal, broker.port)):
        newest = json.loads(listener.wait_for("afterfill/window/reading/orp"))
        assert newest["value"] == 3299.0
        listener.wait_for("afterfill/window/verdict")
        assert len(listener.payloads("afterfill/window/verdict")) == 1


def test_a_stale_reading_is_not_published_as_the_present(journal: Journal, broker: Broker) -> None:
    store(journal, orp(0), estimate(START_S), standing(START_S), verdict(START_S))
    with Listener(broker.port, "afterfill/#") as listener, running(sink_to(journal, broker.port)):
        listener.wait_for("afterfill/window/verdict")
    assert listener.payloads("afterfill/window/reading/orp") == []
    assert listener.payloads("afterfill/window/standing") == [], "no estimate upholds it"


def test_how_a_tank_stands_is_said_again_while_estimates_come(
    journal: Journal, broker: Broker, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Else it would expire with the broker, or live on when nothing upholds it any more."""
    monkeypatch.setattr(mqtt, "_AGAIN_S", 0.0)
    store(journal, standing(START_S))
    with obeying(journal, broker.port) as listener:

        def times() -> int:
            return len(listener.payloads("afterfill/window/standing"))

        store(journal, lately(estimate(START_S + 1)))
        wait_until(lambda: times() == 1, "said")
        store(journal, lately(estimate(START_S + 2)))
        wait_until(lambda: times() == 2, "said again")


def test_the_state_of_every_alarm_is_told_at_the_start_of_the_machine_with_the_first_tank(
    journal: Journal, broker: Broker
) -> None:
    config = config_for(broker.port)
    two = config.model_copy(update={"tank": {**config.tank, "second": config.tank["window"]}})
    store(journal, estimate(START_S), replace(estimate(START_S), tank="second"), alarm(START_S))
    chatter = (replace(alarm(START_S + n, active=bool(n % 2)), alarm="ph") for n in range(100))
    store(journal, *chatter)
    with (
        Listener(broker.port, "afterfill/#") as listener,
        running(MqttSink(journal.path, two, now)),
    ):
        for tank in two.tank:
            listener.wait_for(f"afterfill/{tank}/alarms")
        heard = {topic: json.loads(p) for topic, p, _ in listener.heard if "/alarm" in topic}
    machine = {name for name, d in DEFINITIONS.items() if d.group == "machine"}
    for tank, names in {"window": set(DEFINITIONS), "second": set(DEFINITIONS) - machine}.items():
        assert {t for t in heard if f"/{tank}/alarm/" in t} == {
            f"afterfill/{tank}/alarm/{name}" for name in names
        }
    assert heard[OXIDANT]["state"] == "unacknowledged", "also a change long before others"
    quiet = heard["afterfill/second/alarm/residual-oxidant"]
    assert (quiet["state"], quiet["active"], quiet["known"]) == ("normal", False, True)
    assert heard["afterfill/window/alarms"] == {
        "asking": ["residual-oxidant", "ph"], "priority": "high", "not_judged": []
    }  # fmt: skip
    assert heard["afterfill/second/alarms"]["asking"] == []


def test_nothing_is_called_normal_on_a_tank_that_was_never_judged(
    journal: Journal, broker: Broker
) -> None:
    with obeying(journal, broker.port) as listener:
        store(journal, lately(orp(1)))
        listener.wait_for("afterfill/window/reading/orp")
        assert [t for t, _, _ in listener.heard if "/alarm" in t] == []
        store(journal, lately(estimate(START_S)))
        assert json.loads(listener.wait_for(OXIDANT))["state"] == "normal"


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_entities_are_announced_again_on_birth_and_removed_when_dropped(
    journal: Journal, broker: Broker, version: str
) -> None:
    store(journal, *map(lately, one_of_each()))
    with Listener(broker.port, "homeassistant/+/+/config", "afterfill/#") as listener:
        topic = "homeassistant/sensor/afterfill_window_orp/config"
        with running(sink_to(journal, broker.port, version=version)):
            listener.wait_for(topic)
            listener.wait_for("afterfill/window/verdict")
            listener.heard.clear()
            listener.send("homeassistant/status", "online")
            listener.wait_for(topic)
            listener.wait_for("afterfill/window/verdict")
        assert topic in retained(broker.port, "homeassistant/#")
        config = config_for(broker.port, version=version)
        less = config.model_copy(update={"probe": config.probe[1:]})
        with running(MqttSink(journal.path, less, now)):
            listener.wait_for(topic, lambda p: p == b"")
    kept = retained(broker.port, "homeassistant/#")
    assert topic not in kept
    assert "homeassistant/sensor/afterfill_window_ph/config" in kept


def test_of_a_tank_that_is_dropped_the_entities_go_before_their_states(
    journal: Journal, broker: Broker
) -> None:
    """A hub that still has an entity would try to read the emptiness under its topic."""
    config = config_for(broker.port)
    store(journal, *map(lately, one_of_each()))
    with Listener(broker.port, "homeassistant/#", "afterfill/#") as listener:
        with running(MqttSink(journal.path, config, now)):
            listener.wait_for("afterfill/window/standing")
        listener.heard.clear()
        probes = tuple(p.model_copy(update={"tank": "other"}) for p in config.probe)
        other = {"tank": {"other": config.tank["window"]}, "probe": probes}
        with running(MqttSink(journal.path, config.model_copy(update=other), now)):
            wait_for_online(listener)
            listener.wait_for("afterfill/window/verdict", lambda p: p == b"")
        emptied = [topic for topic, payload, _ in listener.heard if not payload]
    entities = [topic.endswith("/config") for topic in emptied]
    assert entities == sorted(entities, reverse=True)
    assert any(entities)
    assert not [t for t in retained(broker.port, "#") if "window" in t]


def test_a_clock_that_lost_its_time_does_not_make_the_past_the_present(journal: Journal) -> None:
    day = [orp(second) for second in range(0, 86_400, 10)]
    store(journal, *day, estimate(START_S + 86_390), standing(START_S))
    found = mqtt_present.present("afterfill", config_for(1883), journal, now_s=0.0)
    assert {message.topic.removeprefix("afterfill/window/") for _, message in found} == {
        "reading/orp", "estimate", "standing"
    }  # fmt: skip
    read = list(mqtt_present._recent(config_for(1883), journal, 0.0))
    assert len(read) < 100, "only the last minutes are read"


def test_what_a_person_reads_is_in_their_units_in_the_present_and_live(
    journal: Journal, broker: Broker
) -> None:
    units = {"units": Units(volume="US gal", temperature="F")}
    config = config_for(broker.port).model_copy(update=units)
    limits = "limits 20 to 25 °C"
    cold = replace(alarm(START_S), alarm="temperature", message=f"18.0 °C; {limits}")
    warm = replace(cold, time_s=START_S + 60.0, message=f"25.0 °C; {limits}", advice="change 10 L")
    store(journal, estimate(START_S), cold)
    topic, in_f = "afterfill/window/alarm/temperature", "limits 68.0 to 77.0 °F (20 to 25 °C)"
    with (
        Listener(broker.port, topic) as listener,
        running(MqttSink(journal.path, config, now)),
    ):
        assert json.loads(listener.wait_for(topic))["message"] == f"64.4 °F (18.0 °C); {in_f}"
        store(journal, warm)
        said = json.loads(listener.wait_for(topic, lambda payload: b"change" in payload))
    assert said["message"] == f"77.0 °F (25.0 °C); {in_f}"
    assert said["advice"] == "change 2.64 US gal (10 L)"
