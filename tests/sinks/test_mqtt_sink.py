"""The MQTT sink against a real mosquitto."""

import json
import threading
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from afterfill.journal.store import Journal
from afterfill.sinks.mqtt import CURSOR, MqttSink
from afterfill.sinks.mqtt_connection import Connection
from afterfill.sinks.mqtt_messages import Message
from mqtt_peers import Listener, config_for, lately, obeying, retained, sink_to, wait_for_online
from sample_records import START_S, alarm, estimate, now, one_of_each, orp, running, store, verdict
from servers import Broker, free_port, wait_until

pytestmark = pytest.mark.system


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_each_kind_of_record_arrives_and_is_kept(
    journal: Journal, broker: Broker, version: str
) -> None:
    with obeying(journal, broker.port, version=version) as listener:
        last = store(journal, *one_of_each())
        heard = json.loads(listener.wait_for("afterfill/window/reading/orp"))
        assert (heard["value"], heard["time"]) == (300.0, "2026-03-01T07:30:00Z")
        invalid = json.loads(listener.wait_for("afterfill/window/reading/ph"))
        assert (invalid["value"], invalid["invalid"]) == (None, "no-answer")
        belief = json.loads(listener.wait_for("afterfill/window/estimate"))
        assert belief["residual_mg_l"] == {"q05": 0.01, "q50": 0.12, "q95": 0.5}
        assert belief["free_ammonia_mg_l"] is None
        assert json.loads(listener.wait_for("afterfill/window/refill"))["kind"] == "refill"
        said = json.loads(listener.wait_for("afterfill/window/verdict"))
        assert (said["verdict"], said["probability"]) == ("carried-over", 0.97)
        change = json.loads(listener.wait_for("afterfill/window/alarm/residual-oxidant"))
        assert (change["state"], change["active"]) == ("unacknowledged", True)
        wait_until(lambda: journal.cursor(CURSOR) == last, "the cursor follows", 15)
    kept = retained(broker.port, "afterfill/#")
    assert set(kept) == {
        "afterfill/status",
        "afterfill/window/reading/orp",
        "afterfill/window/reading/ph",
        "afterfill/window/estimate",
        "afterfill/window/refill",
        "afterfill/window/verdict",
        "afterfill/window/alarm/residual-oxidant",
        "afterfill/window/health/probe-window-orp",
    }
    assert kept["afterfill/status"] == b"offline"  # said before the clean end


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_a_lost_connection_leaves_offline_behind_as_last_will(
    journal: Journal, broker: Broker, version: str
) -> None:
    with obeying(journal, broker.port, version=version) as listener:
        wait_for_online(listener)
        other = paho.Client(CallbackAPIVersion.VERSION2, "afterfill-pi-1", protocol=paho.MQTTv5)
        other.connect("127.0.0.1", broker.port)  # the broker ends a session taken over
        other.loop_start()
        listener.wait_for("afterfill/status", lambda p: p == b"offline")
        other.disconnect()
        other.loop_stop()
        wait_until(lambda: listener.payloads("afterfill/status")[-1] == b"online", "it comes back")


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_a_broker_killed_in_the_middle_gets_every_event_and_the_present(
    journal: Journal, broker: Broker, version: str
) -> None:
    with running(sink := sink_to(journal, broker.port, version=version)):
        wait_until(lambda: sink.health().up, "the sink is connected")
        store(journal, verdict(START_S))
        wait_until(lambda: journal.cursor(CURSOR) >= 1, "the first verdict is confirmed", 15)
        broker.kill()
        wait_until(lambda: not sink.health().up, "the loss is noticed")
        during = [alarm(START_S + n, active=bool(n % 2)) for n in range(1, 31)]
        newest = [lately(orp(1)), lately(orp(2)), lately(estimate(START_S + 31))]
        last = store(journal, *during, *newest)
        broker.start()
        with Listener(broker.port, "afterfill/window/#") as listener:
            listener.wait_for("afterfill/window/estimate")
            wait_until(lambda: journal.cursor(CURSOR) == last, "the cursor follows", 15)
            times = [
                json.loads(p)["time"]
                for p in listener.payloads("afterfill/window/alarm/residual-oxidant")
            ]
            values = [
                json.loads(p)["value"] for p in listener.payloads("afterfill/window/reading/orp")
            ]
        assert sink.health().up
    expected = [f"2026-03-01T07:30:{n:02d}Z" for n in range(1, 31)]
    assert list(dict.fromkeys(times)) == expected  # all, in order; the newest may come twice
    assert set(values) == {302.0}  # of readings only the newest


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_a_broker_that_lost_what_it_kept_gets_the_present_again(
    journal: Journal, broker: Broker, version: str
) -> None:
    with running(sink := sink_to(journal, broker.port, version=version)):
        wait_until(lambda: sink.health().up, "the sink is connected")
        last = store(journal, *map(lately, one_of_each()))
        wait_until(lambda: journal.cursor(CURSOR) == last, "all is confirmed", 15)
        broker.kill()
        (broker.folder / "mosquitto.db").unlink(missing_ok=True)
        broker.start()
        with Listener(broker.port, "afterfill/#") as listener:
            wait_for_online(listener)
            for topic in ("verdict", "estimate", "reading/orp", "alarm/residual-oxidant"):
                listener.wait_for(f"afterfill/window/{topic}")


def test_a_new_sink_publishes_the_present_of_an_old_journal_not_its_history(
    journal: Journal, broker: Broker
) -> None:
    store(journal, *(verdict(START_S + n) for n in range(50)), *map(lately, map(orp, range(3000))))
    with Listener(broker.port, "afterfill/#") as listener, running(sink_to(journal, broker.port)):
        newest = json.loads(listener.wait_for("afterfill/window/reading/orp"))
        assert newest["value"] == 3299.0
        listener.wait_for("afterfill/window/verdict")
        wait_until(lambda: journal.cursor(CURSOR) == 3050, "the cursor jumps", 15)
        assert len(listener.payloads("afterfill/window/verdict")) == 1


def test_a_stale_reading_is_not_published_as_the_present(journal: Journal, broker: Broker) -> None:
    store(journal, orp(0), verdict(START_S))
    with Listener(broker.port, "afterfill/#") as listener, running(sink_to(journal, broker.port)):
        listener.wait_for("afterfill/window/verdict")
    assert listener.payloads("afterfill/window/reading/orp") == []


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_entities_are_announced_again_on_birth_and_removed_when_dropped(
    journal: Journal, broker: Broker, version: str
) -> None:
    store(journal, *one_of_each())
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
        with running(MqttSink(journal.path, less, now, "pi-1")):
            listener.wait_for(topic, lambda p: p == b"")
    kept = retained(broker.port, "homeassistant/#")
    assert topic not in kept
    assert "homeassistant/sensor/afterfill_window_ph/config" in kept
    assert "afterfill/window/reading/orp" not in retained(broker.port, "afterfill/#")


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_of_a_day_without_broker_the_events_and_the_newest_readings_are_sent(
    journal: Journal, broker: Broker, version: str
) -> None:
    with running(sink := sink_to(journal, broker.port, version=version)):
        wait_until(lambda: sink.health().up, "the sink is connected")
        store(journal, verdict(START_S))
        wait_until(lambda: journal.cursor(CURSOR) >= 1, "the first verdict is confirmed", 15)
        broker.kill()
        wait_until(lambda: not sink.health().up, "the loss is noticed")
        day = [orp(second) for second in range(0, 86_400, 10)]
        rises = [alarm(START_S + n, active=bool(n % 2)) for n in range(100)]
        last = store(journal, *day, *rises, lately(orp(7)))
        broker.start()
        with Listener(broker.port, "afterfill/window/#") as listener:
            wait_until(lambda: journal.cursor(CURSOR) == last, "the cursor follows", 30)
            readings = [json.loads(p) for p in listener.payloads("afterfill/window/reading/orp")]
            changes = listener.payloads("afterfill/window/alarm/residual-oxidant")
    assert [r["value"] for r in readings] == [307.0]
    assert len(changes) >= 100


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
        first = store(journal, verdict(START_S - 1))
        wait_until(lambda: journal.cursor(CURSOR) == first, "all that was said is confirmed", 15)
        wait_until(lambda: len(sent) == len(answered), "nothing is on its way", 15)
        silent.set()
        store(journal, *(verdict(START_S + n) for n in range(500)))
        wait_until(lambda: len(handed) >= 20, "the window is full")
        store(journal, *(verdict(START_S + n) for n in range(500)))
    assert journal.cursor(CURSOR) == first
    assert len(handed) == 21  # and `offline` at the end


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
