"""The MQTT sink against a real mosquitto."""

import json
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from afterfill.alarms.definitions import DEFINITIONS
from afterfill.journal.store import Journal
from afterfill.sinks import mqtt
from afterfill.sinks.mqtt import MqttSink
from afterfill.sinks.mqtt_connection import Connection
from afterfill.sinks.mqtt_messages import Message
from mqtt_peers import (
    Listener,
    config_for,
    lately,
    obeying,
    retained,
    service_of,
    sink_to,
    wait_for_online,
)
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
from servers import Broker, free_port, wait_until

pytestmark = pytest.mark.system
OXIDANT = "afterfill/window/alarm/residual-oxidant"


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_each_kind_of_record_arrives_and_is_kept(
    journal: Journal, broker: Broker, version: str
) -> None:
    with obeying(journal, broker.port, version=version) as listener:
        store(journal, *one_of_each())
        heard = json.loads(listener.wait_for("afterfill/window/reading/orp"))
        assert (heard["value"], heard["time"]) == (300.0, "2026-03-01T07:30:00Z")
        invalid = json.loads(listener.wait_for("afterfill/window/reading/ph"))
        assert (invalid["value"], invalid["invalid"]) == (None, "no-answer")
        belief = json.loads(listener.wait_for("afterfill/window/estimate"))
        assert belief["residual_mg_l"] == {"q05": 0.01, "q50": 0.12, "q95": 0.5}
        assert belief["free_ammonia_mg_l"] is None
        ahead = json.loads(listener.wait_for("afterfill/window/forecast"))
        assert ahead["residual_surely_below_limit"] == "2026-03-01T08:00:01Z"
        assert json.loads(listener.wait_for("afterfill/window/refill"))["kind"] == "refill"
        said = json.loads(listener.wait_for("afterfill/window/verdict"))
        assert (said["verdict"], said["probability"]) == ("carried-over", 0.97)
        change = json.loads(listener.wait_for(OXIDANT, lambda p: b"unacknowledged" in p))
        assert (change["state"], change["active"]) == ("unacknowledged", True)
        stands = json.loads(listener.wait_for("afterfill/window/standing"))
        assert stands == {
            "kind": "standing", "time": "2026-03-01T07:30:04Z", "tank": "window",
            "standing": "cannot-tell", "since": "2026-03-01T07:29:04Z", "why": "probe in air",
            "sees": False, "detection_floor_mg_l": None,
        }  # fmt: skip
        listener.wait_for("afterfill/window/health/probe-window-orp")
        service = service_of(journal)
    kept = retained(broker.port, "afterfill/#")
    alarms = {topic for topic in kept if "/alarm/" in topic}
    assert alarms == {f"afterfill/window/alarm/{name}" for name in DEFINITIONS}
    assert set(kept) - alarms == {
        "afterfill/status",
        f"afterfill/service/{service}/status",
        "afterfill/window/status",
        "afterfill/window/reading/orp",
        "afterfill/window/reading/ph",
        "afterfill/window/estimate",
        "afterfill/window/forecast",
        "afterfill/window/refill",
        "afterfill/window/verdict",
        "afterfill/window/standing",
        "afterfill/window/alarms",
        "afterfill/window/health/probe-window-orp",
    }
    offline = {topic for topic, payload in kept.items() if payload == b"offline"}
    assert offline == {topic for topic in kept if topic.endswith("/status")}  # before a clean end


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_a_lost_connection_leaves_offline_behind_as_last_will(
    journal: Journal, broker: Broker, version: str
) -> None:
    topic = f"afterfill/service/{service_of(journal)}/status"
    with obeying(journal, broker.port, version=version) as listener:
        listener.wait_for(topic, lambda p: p == b"online")
        with taken_over(broker.port, service_of(journal)):
            listener.wait_for(topic, lambda p: p == b"offline")
        wait_until(lambda: listener.payloads(topic)[-1] == b"online", "it comes back", 20)


@contextmanager
def taken_over(port: int, service: str) -> Iterator[None]:
    """Another client of that name: the broker ends the session that it takes over."""
    other = paho.Client(CallbackAPIVersion.VERSION2, service, protocol=paho.MQTTv5)
    other.connect("127.0.0.1", port)
    other.loop_start()
    try:
        yield
    finally:
        other.disconnect()
        other.loop_stop()


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_a_service_that_dies_leaves_offline_under_the_base_too(
    journal: Journal, broker: Broker, version: str
) -> None:
    """A process that is killed says nothing: the broker says what it left as last wills."""
    with Listener(broker.port, "afterfill/#") as listener:
        with killed(journal, broker.port, version):
            wait_for_online(listener)
            listener.wait_for("afterfill/window/status", lambda p: p == b"online")
        listener.wait_for("afterfill/status", lambda p: p == b"offline")
        listener.wait_for(
            f"afterfill/service/{service_of(journal)}/status", lambda p: p == b"offline"
        )


@contextmanager
def killed(journal: Journal, port: int, version: str) -> Iterator[None]:
    """The real service as a process of its own, on `journal`, killed at the end."""
    file = journal.path.with_name("afterfill.toml")
    file.write_text(
        f'[tank.window]\nlitres = 200\n[mqtt]\nhost = "127.0.0.1"\nport = {port}\n'
        f'version = "{version}"\n[journal]\npath = "{journal.path}"\n'
    )
    command = [sys.executable, "-m", "afterfill.cli.main", "run", "--config", str(file)]
    process = subprocess.Popen(command, stderr=subprocess.DEVNULL)
    try:
        yield
    finally:
        process.kill()
        process.wait(10)


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


def test_the_client_s_own_queue_never_holds_more_than_the_window(
    journal: Journal, broker: Broker, monkeypatch: pytest.MonkeyPatch
) -> None:
    silent, handed, sent, answered = threading.Event(), [], [], []
    confirm, publish = Connection._on_publish, Connection.publish

    def confirmed(*arguments: Any) -> None:  # noqa: ANN401 - as the client calls
        if not silent.is_set():
            confirm(*arguments)
            answered.append(arguments)

    def published(connection: Connection, message: Message) -> int:
        if silent.is_set():
            handed.append(message.topic)
        sent.append(message.topic)
        return publish(connection, message)

    monkeypatch.setattr(Connection, "_on_publish", confirmed)
    monkeypatch.setattr(Connection, "publish", published)
    with running(sink_to(journal, broker.port)):
        wait_until(lambda: sent and len(sent) == len(answered), "nothing is on its way", 15)
        silent.set()
        store(journal, *(verdict(START_S + n) for n in range(500)))
        wait_until(lambda: len(handed) >= 20, "the window is full")
        store(journal, *(verdict(START_S + n) for n in range(500)))
    assert len(handed) == 20 + 3  # and `offline` at the end, for service, tank and base


def test_a_mistake_in_a_callback_is_told_and_does_not_end_the_connection(
    journal: Journal, broker: Broker, monkeypatch: pytest.MonkeyPatch
) -> None:
    def mistaken(*_: object) -> None:
        raise RuntimeError("slip")

    monkeypatch.setattr(Connection, "_on_message", mistaken)
    with (
        Listener(broker.port, "afterfill/#") as listener,
        running(sink := sink_to(journal, broker.port)),
    ):
        wait_for_online(listener)
        listener.send("afterfill/window/log/dose", "{}")
        wait_until(lambda: "RuntimeError('slip')" in sink.health().detail, "the mistake is told")
        store(journal, verdict(START_S))
        listener.wait_for("afterfill/window/verdict")
        wait_until(lambda: sink.health().up, "it is up")


def test_a_connection_that_confirms_nothing_is_made_anew(
    journal: Journal, broker: Broker, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Connection, "_on_publish", lambda *_: None)  # as if no answer came
    with running(sink := sink_to(journal, broker.port)):
        sink._stalled_after_s = 0.5
        wait_until(lambda: "has confirmed nothing for" in sink.health().detail, "the stall")
        monkeypatch.undo()
        wait_until(lambda: sink.health().up, "it delivers again")
        store(journal, verdict(START_S))
        wait_until(lambda: "afterfill/window/verdict" in retained(broker.port, "#"), "it is there")


class TestWhatIsWrongIsTold:
    def told(self, journal: Journal, sentence: str, port: int, **mqtt: object) -> None:
        with running(sink := sink_to(journal, port, **mqtt)):
            wait_until(lambda: sentence in sink.health().detail, f"{sentence}: {sink.health()}")
            assert not sink.health().up

    def test_nobody_listens(self, journal: Journal) -> None:
        self.told(journal, "is not there (connection refused)", free_port())

    def test_wrong_password(self, journal: Journal, tmp_path: Path) -> None:
        (tmp_path / "wrong").write_text("guess\n")
        (tmp_path / "right").write_text("secret\n")
        with Broker(tmp_path / "broker", user="keeper") as broker:
            login = {"username": "keeper", "password_file": tmp_path / "wrong"}
            for version in ("5", "3.1.1"):
                self.told(
                    journal,
                    "refuses us (Not authorized); check [mqtt] username",
                    broker.port,
                    **login,
                    version=version,
                )
            self.told(
                journal,
                "password_file",
                broker.port,
                username="keeper",
                password_file=tmp_path / "absent",
            )
            login["password_file"] = tmp_path / "right"
            with running(sink := sink_to(journal, broker.port, **login)):
                wait_until(lambda: sink.health().up, "the right password is accepted")

    # The client drops the socket of a failed handshake without closing it; the interpreter does.
    @pytest.mark.filterwarnings("ignore:Exception ignored in. <ssl.SSLSocket")
    def test_encryption(self, journal: Journal, tmp_path: Path, shared_broker: Broker) -> None:
        Broker(tmp_path / "another", tls=True)  # makes an authority that signed nothing here
        ours, another = tmp_path / "broker/ca.crt", tmp_path / "another/ca.crt"
        with Broker(tmp_path / "broker", tls=True) as broker:
            self.told(journal, "cannot be trusted", broker.port, tls=True, ca_file=another)
            self.told(journal, "if its port expects TLS, set [mqtt] tls = true", broker.port)
            self.told(journal, "does not speak TLS", shared_broker.port, tls=True, ca_file=ours)
            missing = tmp_path / "missing.crt"
            self.told(journal, "must hold the authority's", broker.port, tls=True, ca_file=missing)
            with running(sink := sink_to(journal, broker.port, tls=True, ca_file=ours)):
                wait_until(lambda: sink.health().up, "the right authority is accepted")
                assert sink.health().detail == ""
