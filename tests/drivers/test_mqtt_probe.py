"""Probes on a real broker: what is a reading, what is none, and what happens when it is away."""

import gc
import json
import os
import resource
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from afterfill.config_file import parse
from afterfill.errors import ConfigError, DeviceUnavailable
from afterfill.ports import ProbePort, Sample
from afterfill.service.driver_registry import open_port, ports_of
from mqtt_peers import Listener
from servers import Broker, free_port, wait_until

each_version = pytest.mark.parametrize("version", ["5", "3.1.1"])
TOPIC = "shelf/ph"


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    with Broker(tmp_path / "broker") as it:
        assert isinstance(it, Broker)
        yield it


def table(quantity: str = "ph", topic: str = TOPIC, **keys: Any) -> str:
    given = {"tank": "t", "quantity": quantity, "driver": "mqtt", "port": "mqtt", "topic": topic}
    return "[[probe]]\n" + "".join(f"{k} = {json.dumps(v)}\n" for k, v in (given | keys).items())


def port_on(number: int, *tables: str, version: str = "5", mqtt: str = "") -> ProbePort:
    text = f'[tank.t]\nlitres = 100\n[mqtt]\nhost = "127.0.0.1"\nport = {number}\n'
    text += f'version = "{version}"\n{mqtt}\n'
    (plan,) = ports_of(parse(text + "".join(tables or [table()]), "test.toml"))
    return open_port(plan)


@contextmanager
def opened(port: ProbePort) -> Iterator[ProbePort]:
    port.open()
    try:
        yield port
    finally:
        port.close()


def now(port: ProbePort, name: str = "t-ph") -> Sample | None:
    """What it gives at this moment."""
    return next(iter(port.read([name])), None)


def spoken(port: ProbePort, name: str = "t-ph") -> Sample:
    """Its next sample."""
    found: list[Sample] = []

    def has_spoken() -> bool:
        found.extend(port.read([name]))
        return bool(found)

    wait_until(has_spoken, "a sample")
    return found[0]


@contextmanager
def device(broker: Broker) -> Iterator[Listener]:
    with Listener(broker.port, "done/#") as it:
        yield it


def settled(port: ProbePort, it: Listener) -> None:
    """Until what was published before has been handed on to everyone: a further message of the
    same publisher has."""
    it.send("done/now", "x")
    wait_until(lambda: it.payloads("done/now"), "the broker's turn")
    it.heard.clear()
    time.sleep(0.1)


def subscribed(port: ProbePort, it: Listener, topic: str = TOPIC, name: str = "t-ph") -> None:
    """Until the probe hears its topic."""

    def heard() -> bool:
        it.send(topic, "7.77")
        time.sleep(0.05)
        return now(port, name) is not None

    wait_until(heard, "the subscription")
    settled(port, it)
    now(port, name)


# --- what is a reading -------------------------------------------------------------------------


@each_version
def test_a_message_is_one_reading_and_silence_is_no_answer(broker: Broker, version: str) -> None:
    port = port_on(broker.port, table(max_age_s=1), version=version)
    with device(broker) as it, opened(port):
        subscribed(port, it)
        it.send(TOPIC, "7.21")
        assert spoken(port) == Sample("t-ph", 7.21, None, b"7.21")
        assert now(port) is None, "the value stands there, and nothing new was said"
        it.send(TOPIC, "7.21")
        assert spoken(port).value == 7.21, "said again is a reading again"
        began_s = time.monotonic()
        assert spoken(port).invalid == "no-answer"
        assert 0.7 < time.monotonic() - began_s < 2.0
        assert now(port) == Sample("t-ph", None, "no-answer")
        it.send(TOPIC, "7.22")
        time.sleep(0.2)
        assert spoken(port).value == 7.22


@each_version
def test_a_kept_value_is_never_a_reading(broker: Broker, version: str) -> None:
    with device(broker) as it:
        it.send(TOPIC, "6.66", retain=True)
        for _ in range(3):  # nor after a new connection
            with opened(port_on(broker.port, table(max_age_s=1), version=version)) as port:
                assert spoken(port).invalid == "no-answer"
        with opened(port_on(broker.port, table(max_age_s=5), version=version)) as port:
            time.sleep(0.3)
            assert now(port) is None
            it.send(TOPIC, "7.21", retain=True)
            assert spoken(port).value == 7.21, "new, though the broker keeps it too"


def test_a_message_that_waited_too_long_is_no_reading(broker: Broker) -> None:
    """The probe is looked at more seldom than its readings may be old."""
    with device(broker) as it, opened(port_on(broker.port, table(max_age_s=1))) as port:
        subscribed(port, it)
        it.send(TOPIC, "7.21")
        time.sleep(1.5)
        assert now(port) == Sample("t-ph", None, "no-answer")


def test_of_several_messages_the_newest_counts(broker: Broker) -> None:
    with device(broker) as it, opened(port_on(broker.port)) as port:
        subscribed(port, it)
        for number in range(50):
            it.send(TOPIC, f"7.{number:02d}")
        settled(port, it)
        assert spoken(port).value == 7.49
        assert now(port) is None


def test_a_message_sent_again_by_its_device_is_no_new_reading_by_its_counter(
    broker: Broker,
) -> None:
    """QoS 1: who gets no confirmation sends again, marked as a duplicate; a broker hands both on,
    and marks neither. Only a counter of the device's own tells."""
    keys = {"path": "ph", "counter": "seq"}
    with device(broker) as it, opened(port_on(broker.port, table(**keys))) as port:
        message = b'{"ph": 7.21, "seq": 1}'
        sent = threading.Event()

        def resend() -> None:
            with socket.create_connection(("127.0.0.1", broker.port)) as line:
                line.sendall(bytes.fromhex("10 0f 0004 4d515454 04 02 003c 0003") + b"dev")
                line.recv(4)
                body = len(TOPIC).to_bytes(2, "big") + TOPIC.encode() + b"\0\x01" + message
                for head in (0x32, 0x3A, 0x3A):  # QoS 1, then twice with the duplicate's mark
                    line.sendall(bytes([head, len(body)]) + body)
                    time.sleep(0.15)
                sent.set()

        time.sleep(0.3)
        source = threading.Thread(target=resend)
        source.start()
        samples = []
        while not sent.is_set():
            samples += port.read(["t-ph"])
            time.sleep(0.02)
        source.join()
        assert [sample.value for sample in samples] == [7.21]
        it.send(TOPIC, '{"ph": 7.21, "seq": 2}')
        assert spoken(port).value == 7.21
        it.send(TOPIC, '{"ph": 7.21}')
        assert spoken(port).value == 7.21, "without a counter it cannot be told, and is looked at"


def test_a_device_that_repeats_its_last_measurement_is_silent_by_its_counter(
    broker: Broker,
) -> None:
    keys: dict[str, Any] = {"path": "ph", "counter": "seq", "max_age_s": 1}
    with device(broker) as it, opened(port_on(broker.port, table(**keys))) as port:
        subscribed(port, it)
        seen = []
        end_s = time.monotonic() + 1.6
        while time.monotonic() < end_s:
            it.send(TOPIC, '{"ph": 7.21, "seq": "2026-03-01T07:30:00Z"}')
            seen += port.read(["t-ph"])
            time.sleep(0.05)
        assert [s.value for s in seen if s.value is not None] == [7.21]
        assert seen[-1].invalid == "no-answer"


def test_two_probes_on_one_topic_take_each_its_own(broker: Broker) -> None:
    tables = [table(path="ph"), table("orp", path="orp.v", unit="V")]
    with device(broker) as it, opened(port_on(broker.port, *tables)) as port:
        subscribed(port, it)
        now(port, "t-orp")
        it.send(TOPIC, '{"ph": 7.21, "orp": {"v": 0.4123}}')
        assert spoken(port).value == 7.21
        assert spoken(port, "t-orp").value == pytest.approx(412.3)
        it.send(TOPIC, '{"ph": 7.22}')
        settled(port, it)
        assert [(s.probe, s.value, s.invalid) for s in port.read(["t-ph", "t-orp"])] == [
            ("t-ph", 7.22, None),
            ("t-orp", None, "garbled"),
        ]


# --- the device and its messages ---------------------------------------------------------------


@each_version
@pytest.mark.parametrize("kept", [False, True])
def test_a_device_that_is_not_there_by_its_own_word_gives_no_answer(
    broker: Broker, version: str, kept: bool
) -> None:
    state = "shelf/status"
    with device(broker) as it:
        it.send(state, "offline", retain=kept)
        keys: dict[str, Any] = {"availability_topic": state, "max_age_s": 600}
        with opened(port_on(broker.port, table(**keys), version=version)) as port:
            if not kept:
                subscribed(port, it)
                it.send(state, "offline")
            assert spoken(port) == Sample("t-ph", None, "no-answer", b"offline")
            it.send(TOPIC, "7.21")
            settled(port, it)
            assert now(port) == Sample("t-ph", None, "no-answer", b"offline"), "not believed"
            it.send(state, "online", retain=True)
            settled(port, it)
            assert now(port) is None, "what it said before it was back stays unbelieved"
            it.send(TOPIC, "7.22")
            assert spoken(port).value == 7.22
            it.send(TOPIC, "7.23")
            it.send(state, "gone, I think", retain=True)
            settled(port, it)
            assert now(port) == Sample("t-ph", None, "no-answer", b"gone, I think")


@each_version
def test_a_giant_message_is_no_reading_and_costs_little(broker: Broker, version: str) -> None:
    with device(broker) as it, opened(port_on(broker.port, version=version)) as port:
        subscribed(port, it)
        it.send(TOPIC, b'{"ph": 7.2, "x": "' + b"y" * 3_000_000 + b'"}')
        it.send(TOPIC, "9.99")
        settled(port, it)
        assert spoken(port).value == 9.99
        it.send(TOPIC, b"7" * 20_000)
        sample = spoken(port)
        assert (sample.invalid, len(sample.raw)) == ("garbled", 256)


def test_thousands_of_messages_a_second_cost_no_memory_and_no_delay(broker: Broker) -> None:
    over = threading.Event()

    def flood() -> None:
        body = len(TOPIC).to_bytes(2, "big") + TOPIC.encode()
        with socket.create_connection(("127.0.0.1", broker.port)) as line:
            line.sendall(bytes.fromhex("10 0f 0004 4d515454 04 02 003c 0003") + b"dev")
            line.recv(4)
            number = 0
            while not over.is_set():
                batch = b""
                for _ in range(100):
                    number += 1
                    text = b"%.6f" % (7 + number / 1e6)
                    batch += bytes([0x30, len(body) + len(text)]) + body + text
                line.sendall(batch)
                counted[0] = number
                time.sleep(0.02)

    counted = [0]
    with device(broker) as it, opened(port_on(broker.port)) as port:
        subscribed(port, it)
        source = threading.Thread(target=flood)
        source.start()
        wait_until(lambda: counted[0] > 1000, "the flood")
        before_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        began_s, took_s, values = time.monotonic(), [], []
        while time.monotonic() - began_s < 4:
            at_s, sent = time.monotonic(), counted[0]
            values += [(s.value, sent) for s in port.read(["t-ph"])]
            took_s.append(time.monotonic() - at_s)
            time.sleep(0.2)
        rate = counted[0] / (time.monotonic() - began_s)
        over.set()
        source.join()
        grown_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before_kb
    assert rate > 2000
    assert max(took_s) < 0.5
    assert grown_kb < 5000
    assert all(value is not None for value, _ in values)
    lags = [(sent - 1e6 * (value - 7)) / rate for value, sent in values if value is not None]
    assert max(lags) < 1.0, "the newest, not the first of a queue"


# --- the broker --------------------------------------------------------------------------------


@each_version
def test_a_broker_that_starts_again_is_a_lost_port_and_works_again(
    broker: Broker, version: str
) -> None:
    port = port_on(broker.port, version=version)
    port.open()
    with device(broker) as it:
        subscribed(port, it)
        it.send(TOPIC, "6.66", retain=True)
        assert spoken(port).value == 6.66
    broker.kill()
    with pytest.raises(DeviceUnavailable, match="port mqtt is away: the connection to the broker"):
        wait_until(lambda: port.read(["t-ph"]) and None, "the loss is noticed")
    with pytest.raises(DeviceUnavailable, match=r"is not there \(connection refused\)"):
        port.open()
    broker.start()
    with opened(port), device(broker) as it:
        time.sleep(0.3)
        assert now(port) is None, "the broker kept it over its end; it is no new reading"
        it.send(TOPIC, "7.21")
        assert spoken(port).value == 7.21
    port.close()


def test_losses_leave_no_descriptors_behind(broker: Broker) -> None:
    port, absent = port_on(broker.port), port_on(free_port())
    gc.disable()
    try:
        before = len(os.listdir("/proc/self/fd"))
        for _ in range(5):
            port.open()
            port.close()
            with pytest.raises(DeviceUnavailable):
                absent.open()
        assert len(os.listdir("/proc/self/fd")) <= before
    finally:
        gc.enable()


@pytest.mark.parametrize(
    ("prepared", "said"),
    [
        (lambda: "", "is not there"),
        (lambda: 'username = "me"\npassword_file = "/nowhere/secret"', "cannot be read"),
    ],
)
def test_a_broker_that_cannot_be_used_says_why(prepared: Callable[[], str], said: str) -> None:
    port = port_on(free_port(), mqtt=prepared())
    with pytest.raises(DeviceUnavailable, match=said):
        port.open()
    port.close()


def test_a_broker_that_never_answers_is_given_up_in_time() -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = port_on(listener.getsockname()[1])
        began_s = time.monotonic()
        with pytest.raises(DeviceUnavailable, match="does not answer in time"):
            port.open()
        assert time.monotonic() - began_s < 8


# paho leaves the socket of a failed TLS handshake to the garbage collector
@pytest.mark.filterwarnings("ignore:Exception ignored in. <ssl.SSLSocket")
def test_a_broker_with_tls_and_a_password_is_reached_by_the_settings_of_its_table(
    tmp_path: Path,
) -> None:
    with Broker(tmp_path, user="me", tls=True) as broker:
        (tmp_path / "secret").write_text("secret\n")
        mqtt = f'username = "me"\npassword_file = "{tmp_path}/secret"\ntls = true\n'
        with opened(port_on(broker.port, mqtt=f'{mqtt}ca_file = "{tmp_path}/ca.crt"')) as port:
            assert now(port) is None
        with pytest.raises(DeviceUnavailable, match="cannot be trusted"):
            port_on(broker.port, mqtt=mqtt).open()
        (tmp_path / "secret").write_text("another\n")
        with pytest.raises(DeviceUnavailable, match="refuses us"):
            port_on(broker.port, mqtt=f'{mqtt}ca_file = "{tmp_path}/ca.crt"').open()


def test_a_topic_that_may_not_be_read_gives_no_answer(tmp_path: Path) -> None:
    """mosquitto grants the subscription and hands nothing on: seen with 2.0."""
    acl = "user hub\ntopic readwrite #\nuser afterfill\ntopic read other/#\n"
    with Broker(tmp_path, user="afterfill", others=("hub",), acl=acl) as broker:
        (tmp_path / "secret").write_text("secret\n")
        mqtt = f'username = "afterfill"\npassword_file = "{tmp_path}/secret"'
        port = port_on(broker.port, table(max_age_s=1), mqtt=mqtt)
        with opened(port), Listener(broker.port, "x", login=("hub", "secret")) as hub:
            hub.send(TOPIC, "7.21")
            assert spoken(port).invalid == "no-answer"


def test_a_broker_that_refuses_a_topic_says_so() -> None:
    """Played: accepts the client, and answers its subscription with a refusal (3.1.1)."""
    with socket.create_server(("127.0.0.1", 0)) as listener:

        def refuse() -> None:
            client, _ = listener.accept()
            with client:
                client.recv(1000)
                client.sendall(bytes.fromhex("20 02 00 00"))
                asked = client.recv(1000)
                client.sendall(bytes.fromhex("90 03") + asked[2:4] + b"\x80")
                client.recv(1000)

        player = threading.Thread(target=refuse)
        player.start()
        with (
            opened(port_on(listener.getsockname()[1], version="3.1.1")) as port,
            pytest.raises(DeviceUnavailable, match="does not let us read a topic"),
        ):
            wait_until(lambda: port.read(["t-ph"]) and None, "the refusal")
        player.join()


def test_reading_a_broker_that_is_not_open_says_so() -> None:
    with pytest.raises(DeviceUnavailable, match="not open"):
        port_on(1).read(["t-ph"])


# --- configuration -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (table(unit="C"), "measures ph, which has no unit 'C'"),
        (table("temperature", unit="V"), "measures temperature, which has no unit 'V'"),
        (table(topic="afterfill/t/reading/ph"), "one on which afterfill itself publishes"),
        (table(availability_topic="afterfill"), "one on which afterfill itself publishes"),
        (table(port="/dev/x"), 'write port = "mqtt", the broker of the [mqtt] table'),
        (table(topics="x"), "unknown key 'topics' for driver 'mqtt'; did you mean 'topic'?"),
    ],
)
def test_a_table_of_no_use_is_one_sentence(text: str, said: str) -> None:
    with pytest.raises(ConfigError) as caught:
        port_on(1883, text)
    assert said in str(caught.value)


def test_without_a_broker_there_is_no_such_probe() -> None:
    with pytest.raises(ConfigError, match=r"reads from the broker of an \[mqtt\] table"):
        ports_of(parse("[tank.t]\nlitres = 100\n" + table(), "test.toml"))
