"""Probes on a real broker: what is a reading, what is none, and what happens when it is away."""

import resource
import socket
import threading
import time
from typing import Any

import pytest

from afterfill.ports import Sample
from mqtt_probes import (
    TOPIC,
    device,
    each_version,
    now,
    port_on,
    settled,
    spoken,
    subscribed,
    table,
)
from open_port import opened
from servers import Broker, wait_until

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
