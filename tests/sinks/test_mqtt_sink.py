"""The MQTT sink against a real mosquitto."""

import json
import queue
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from afterfill.config import Config
from afterfill.journal.store import Journal
from afterfill.records import AlarmCommand, Dose, KitResult, Record, Refill, Service
from afterfill.sinks.mqtt import CURSOR, MqttSink
from afterfill.sinks.mqtt_connection import Connection
from sample_records import START_S, alarm, estimate, now, one_of_each, orp, running, store, verdict
from servers import Broker, free_port, wait_until

pytestmark = pytest.mark.system


@pytest.fixture(scope="module")
def shared_broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Broker]:
    with Broker(tmp_path_factory.mktemp("broker")) as broker:
        assert isinstance(broker, Broker)
        yield broker


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    with Broker(tmp_path / "broker") as broker:
        assert isinstance(broker, Broker)
        yield broker


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    with Journal.open(tmp_path / "journal.db") as opened:
        yield opened


def lately(record: Record) -> Record:
    """The same record, moved from the sample's day to the last minutes: nothing of it is stale."""
    return replace(record, time_s=record.time_s - START_S + round(now().time_s) - 100)


def config_for(port: int, **mqtt: object) -> Config:
    probe = {"tank": "reef", "driver": "line", "port": "/dev/null"}
    return Config.model_validate(
        {
            "tank": {"reef": {"litres": 200}},
            "probe": [{**probe, "quantity": quantity} for quantity in ("orp", "ph")],
            "mqtt": {"host": "127.0.0.1", "port": port, **mqtt},
        }
    )


def sink_to(journal: Journal, port: int, **mqtt: object) -> MqttSink:
    return MqttSink(journal.path, config_for(port, **mqtt), now, "pi-1", save_cursor_s=0.1)


class Listener:
    """Another client of the broker: hears everything below its filters."""

    def __init__(self, port: int, *filters: str, version: int = paho.MQTTv5) -> None:
        self.heard: list[tuple[str, bytes, bool]] = []
        self._ready: queue.SimpleQueue[bool] = queue.SimpleQueue()
        self._client = paho.Client(CallbackAPIVersion.VERSION2, protocol=version)  # type: ignore[arg-type]
        self._client.on_connect = lambda client, *_: client.subscribe([(f, 1) for f in filters])
        self._client.on_subscribe = lambda *_: self._ready.put(True)
        self._client.on_message = lambda _c, _u, m: self.heard.append(
            (m.topic, bytes(m.payload), m.retain)
        )
        self._client.connect("127.0.0.1", port)

    def __enter__(self) -> "Listener":
        self._client.loop_start()
        self._ready.get(timeout=10)
        return self

    def __exit__(self, *_: object) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def send(self, topic: str, payload: str | bytes, *, retain: bool = False) -> None:
        self._client.publish(topic, payload, qos=1, retain=retain).wait_for_publish(10)

    def payloads(self, topic: str) -> list[bytes]:
        return [payload for name, payload, _ in self.heard if name == topic]

    def wait_for(self, topic: str, holds: Callable[[bytes], object] = lambda _p: True) -> bytes:
        """The first payload on `topic` for which `holds` is true."""
        wait_until(lambda: any(map(holds, self.payloads(topic))), f"{topic} in {self.heard}")
        return next(p for p in self.payloads(topic) if holds(p))


def retained(port: int, topic_filter: str) -> dict[str, bytes]:
    """What the broker keeps below a filter."""
    with Listener(port, topic_filter, "done/now") as listener:
        listener.send("done/now", "")
        listener.wait_for("done/now")
        return {topic: payload for topic, payload, kept in listener.heard if kept}


def wait_for_online(listener: Listener) -> None:
    listener.wait_for("afterfill/status", lambda p: p == b"online")


@contextmanager
def obeying(journal: Journal, port: int, **mqtt: object) -> Iterator[Listener]:
    """A running sink and a listener that hears its answers."""
    with (
        Listener(port, "afterfill/#") as listener,
        running(sink := sink_to(journal, port, **mqtt)),
    ):
        wait_until(lambda: sink.health().up, "the sink is connected")
        yield listener


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_each_kind_of_record_arrives_and_is_kept(
    journal: Journal, broker: Broker, version: str
) -> None:
    with obeying(journal, broker.port, version=version) as listener:
        last = store(journal, *one_of_each())
        heard = json.loads(listener.wait_for("afterfill/reef/reading/orp"))
        assert (heard["value"], heard["time"]) == (300.0, "2026-03-01T07:30:00Z")
        invalid = json.loads(listener.wait_for("afterfill/reef/reading/ph"))
        assert (invalid["value"], invalid["invalid"]) == (None, "no-answer")
        belief = json.loads(listener.wait_for("afterfill/reef/estimate"))
        assert belief["residual_mg_l"] == {"q05": 0.01, "q50": 0.12, "q95": 0.5}
        assert belief["free_ammonia_mg_l"] is None
        assert json.loads(listener.wait_for("afterfill/reef/refill"))["kind"] == "refill"
        said = json.loads(listener.wait_for("afterfill/reef/verdict"))
        assert (said["verdict"], said["probability"]) == ("carried-over", 0.97)
        change = json.loads(listener.wait_for("afterfill/reef/alarm/residual-oxidant"))
        assert (change["state"], change["active"]) == ("unacknowledged", True)
        wait_until(lambda: journal.cursor(CURSOR) == last, "the cursor follows", 15)
    kept = retained(broker.port, "afterfill/#")
    assert set(kept) == {
        "afterfill/status",
        "afterfill/reef/reading/orp",
        "afterfill/reef/reading/ph",
        "afterfill/reef/estimate",
        "afterfill/reef/refill",
        "afterfill/reef/verdict",
        "afterfill/reef/alarm/residual-oxidant",
    }
    assert kept["afterfill/status"] == b"offline"  # said before the clean end


def test_a_lost_connection_leaves_offline_behind_as_last_will(
    journal: Journal, broker: Broker
) -> None:
    with obeying(journal, broker.port) as listener:
        wait_for_online(listener)
        other = paho.Client(CallbackAPIVersion.VERSION2, "afterfill-pi-1", protocol=paho.MQTTv5)
        other.connect("127.0.0.1", broker.port)  # the broker ends a session taken over
        other.loop_start()
        listener.wait_for("afterfill/status", lambda p: p == b"offline")
        other.disconnect()
        other.loop_stop()
        wait_until(lambda: listener.payloads("afterfill/status")[-1] == b"online", "it comes back")


def test_a_broker_killed_in_the_middle_gets_every_event_and_the_present(
    journal: Journal, broker: Broker
) -> None:
    with running(sink := sink_to(journal, broker.port)):
        wait_until(lambda: sink.health().up, "the sink is connected")
        store(journal, verdict(START_S))
        wait_until(lambda: journal.cursor(CURSOR) >= 1, "the first verdict is confirmed", 15)
        broker.kill()
        wait_until(lambda: not sink.health().up, "the loss is noticed")
        during = [alarm(START_S + n, active=bool(n % 2)) for n in range(1, 31)]
        newest = [lately(orp(1)), lately(orp(2)), lately(estimate(START_S + 31))]
        last = store(journal, *during, *newest)
        broker.start()
        with Listener(broker.port, "afterfill/reef/#") as listener:
            listener.wait_for("afterfill/reef/estimate")
            wait_until(lambda: journal.cursor(CURSOR) == last, "the cursor follows", 15)
            times = [
                json.loads(p)["time"]
                for p in listener.payloads("afterfill/reef/alarm/residual-oxidant")
            ]
            values = [
                json.loads(p)["value"] for p in listener.payloads("afterfill/reef/reading/orp")
            ]
        assert sink.health().up
    expected = [f"2026-03-01T07:30:{n:02d}Z" for n in range(1, 31)]
    assert list(dict.fromkeys(times)) == expected  # all, in order; the newest may come twice
    assert set(values) == {302.0}  # of readings only the newest


def test_a_broker_that_lost_what_it_kept_gets_the_present_again(
    journal: Journal, broker: Broker
) -> None:
    with running(sink := sink_to(journal, broker.port)):
        wait_until(lambda: sink.health().up, "the sink is connected")
        last = store(journal, *map(lately, one_of_each()))
        wait_until(lambda: journal.cursor(CURSOR) == last, "all is confirmed", 15)
        broker.kill()
        (broker.folder / "mosquitto.db").unlink(missing_ok=True)
        broker.start()
        with Listener(broker.port, "afterfill/#") as listener:
            wait_for_online(listener)
            for topic in ("verdict", "estimate", "reading/orp", "alarm/residual-oxidant"):
                listener.wait_for(f"afterfill/reef/{topic}")


def test_a_new_sink_publishes_the_present_of_an_old_journal_not_its_history(
    journal: Journal, broker: Broker
) -> None:
    store(journal, *(verdict(START_S + n) for n in range(50)), *map(lately, map(orp, range(3000))))
    with Listener(broker.port, "afterfill/#") as listener, running(sink_to(journal, broker.port)):
        newest = json.loads(listener.wait_for("afterfill/reef/reading/orp"))
        assert newest["value"] == 3299.0
        listener.wait_for("afterfill/reef/verdict")
        wait_until(lambda: journal.cursor(CURSOR) == 3050, "the cursor jumps", 15)
        assert len(listener.payloads("afterfill/reef/verdict")) == 1


def test_a_stale_reading_is_not_published_as_the_present(journal: Journal, broker: Broker) -> None:
    store(journal, orp(0), verdict(START_S))
    with Listener(broker.port, "afterfill/#") as listener, running(sink_to(journal, broker.port)):
        listener.wait_for("afterfill/reef/verdict")
    assert listener.payloads("afterfill/reef/reading/orp") == []


COMMANDS = [
    ("log/refill", '{"litres": "10 gal", "neutraliser_ml": null}', Refill, "litres", 37.85),
    ("log/kit", '{"total_ammonia_mg_l": 0.25}', KitResult, "total_ammonia_mg_l", 0.25),
    ("log/dose", '{"neutraliser_ml": 2}', Dose, "neutraliser_ml", 2.0),
    ("log/service", '{"what": "probe"}', Service, "what", "probe"),
    ("alarm/residual-oxidant/acknowledge", "", AlarmCommand, "action", "acknowledge"),
    ("alarm/probe-lost/shelve", '{"minutes": 60}', AlarmCommand, "minutes", 60.0),
]


def test_commands_are_left_in_the_inbox_and_answered(
    journal: Journal, shared_broker: Broker
) -> None:
    with obeying(journal, shared_broker.port) as listener:
        for number, (topic, payload, *_) in enumerate(COMMANDS, 1):
            listener.send(f"afterfill/reef/{topic}", payload)
            wait_until(lambda: len(listener.payloads("afterfill/reef/answer")) == number, topic)  # noqa: B023
            answer = json.loads(listener.payloads("afterfill/reef/answer")[-1])
            assert answer == {"ok": True, "command": topic, "number": number}
    found = journal.inbox()
    assert len(found) == len(COMMANDS)
    for (_, event, stamp), (_, _, kind, key, value) in zip(found, COMMANDS, strict=True):
        assert type(event) is kind
        assert getattr(event, key) == (pytest.approx(value, rel=1e-3) if key == "litres" else value)
        assert event.tank == "reef"
        assert event.time_s == stamp.time_s == pytest.approx(now().time_s, abs=30)


REFUSED: list[tuple[str, str | bytes, bool, str]] = [
    ("reef/log/refill", '{"liters": 5}', False, "unknown key 'liters'; did you mean 'litres'?"),
    ("reef/log/refil", "{}", False, "'refil' cannot be logged"),
    ("reef/log/dose", '{"neutraliser_ml": -1}', False, "greater than or equal to 0"),
    ("reef/log/dose", "{neutraliser", False, "the payload is not JSON"),
    ("reef/log/dose", b"\xff\x00", False, "the payload is not JSON"),
    ("reef/log/dose", "[" * 3000, False, "the payload is not JSON"),
    ("reef/log/dose", "[2]", False, "must be a JSON object"),
    ("reef/log/dose", " " * 5000 + "{}", False, "has 5002 bytes; at most 4096"),
    ("reef/log/dose", '{"neutraliser_ml": 3}', True, "a retained command is not obeyed"),
    ("reef/alarm/residual/acknowledge", "", False, "did you mean 'residual-oxidant'?"),
    ("reef/alarm/probe-lost/shelve", "", False, "key 'minutes' is missing"),
    ("ref/log/dose", '{"neutraliser_ml": 3}', False, "there is no tank 'ref'; did you mean"),
]  # fmt: skip


def test_commands_that_cannot_be_obeyed_get_one_sentence_and_leave_nothing(
    journal: Journal, shared_broker: Broker
) -> None:
    with obeying(journal, shared_broker.port) as listener:
        for topic, payload, retain, sentence in REFUSED:
            before = len(listener.heard)
            listener.send(f"afterfill/{topic}", payload, retain=retain)
            answer_topic = f"afterfill/{topic.split('/')[0]}/answer"

            def answers(start: int = before, name: str = answer_topic) -> list[dict[str, Any]]:
                return [json.loads(p) for t, p, _ in listener.heard[start:] if t == name]

            wait_until(answers, f"an answer to {topic} {payload!r}")
            (answer,) = answers()
            assert answer["ok"] is False
            assert sentence in answer["error"]
            if retain:
                listener.send(f"afterfill/{topic}", "", retain=True)
    assert journal.inbox() == []


def test_a_command_that_the_broker_kept_is_refused_at_the_next_start(
    journal: Journal, broker: Broker
) -> None:
    with Listener(broker.port, "afterfill/reef/answer") as listener:
        listener.send("afterfill/reef/log/dose", '{"neutraliser_ml": 3}', retain=True)
        with running(sink_to(journal, broker.port, version="3.1.1")):
            answer = json.loads(listener.wait_for("afterfill/reef/answer"))
    assert "a retained command is not obeyed" in answer["error"]
    assert journal.inbox() == []


def test_a_flood_of_commands_does_not_stop_delivery(
    journal: Journal, shared_broker: Broker
) -> None:
    with obeying(journal, shared_broker.port) as listener:
        for _ in range(1000):
            listener._client.publish("afterfill/reef/log/dose", "rubbish", qos=0)
        store(journal, verdict(START_S))
        listener.wait_for("afterfill/reef/verdict")
    assert journal.inbox() == []


def test_entities_are_announced_again_on_birth_and_removed_when_dropped(
    journal: Journal, broker: Broker
) -> None:
    store(journal, *one_of_each())
    with Listener(broker.port, "homeassistant/+/+/config", "afterfill/#") as listener:
        topic = "homeassistant/sensor/afterfill_reef_orp/config"
        with running(sink_to(journal, broker.port)):
            listener.wait_for(topic)
            listener.wait_for("afterfill/reef/verdict")
            listener.heard.clear()
            listener.send("homeassistant/status", "online")
            listener.wait_for(topic)
            listener.wait_for("afterfill/reef/verdict")
        assert topic in retained(broker.port, "homeassistant/#")
        config = config_for(broker.port)
        less = config.model_copy(update={"probe": config.probe[1:]})
        with running(MqttSink(journal.path, less, now, "pi-1")):
            listener.wait_for(topic, lambda p: p == b"")
    kept = retained(broker.port, "homeassistant/#")
    assert topic not in kept
    assert "homeassistant/sensor/afterfill_reef_ph/config" in kept


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
        listener.send("afterfill/reef/log/dose", "{}")
        wait_until(lambda: "RuntimeError('slip')" in sink.health().detail, "the mistake is told")
        store(journal, verdict(START_S))
        listener.wait_for("afterfill/reef/verdict")
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
        last = store(journal, verdict(START_S))
        wait_until(lambda: journal.cursor(CURSOR) == last, "the cursor follows")


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
