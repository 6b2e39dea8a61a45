"""The MQTT sink against a real mosquitto."""

import json
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from afterfill.alarms.definitions import DEFINITIONS
from afterfill.journal.store import Journal
from afterfill.sinks.mqtt.connection import Connection
from afterfill.sinks.mqtt.messages import Message
from mqtt_peers import (
    Listener,
    obeying,
    retained,
    service_of,
    sink_to,
    wait_for_online,
)
from sample_records import (
    START_S,
    one_of_each,
    running,
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
        ready = json.loads(listener.wait_for("afterfill/window/refill-ready"))
        assert (ready["ready"], ready["why"]) == (False, ["probe in air"])
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
        "afterfill/window/refill-ready",
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


def test_the_client_s_own_queue_never_holds_more_than_the_window(
    journal: Journal, broker: Broker, monkeypatch: pytest.MonkeyPatch
) -> None:
    silent, handed, sent, answered = threading.Event(), [], [], []
    confirm, publish = Connection._on_publish, Connection.publish

    def confirmed(*arguments: Any) -> None:
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


def test_a_connection_that_confirms_nothing_is_made_again(
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

    def test_no_one_listens(self, journal: Journal) -> None:
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
