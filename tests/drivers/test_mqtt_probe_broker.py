"""The broker of an `mqtt` probe: it starts again, refuses, is silent; and the probe's table."""

import gc
import os
import socket
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from afterfill.config_file import parse
from afterfill.errors import ConfigError, DeviceUnavailable
from afterfill.service.driver_registry import ports_of
from mqtt_peers import Listener
from mqtt_probes import TOPIC, device, each_version, now, port_on, spoken, subscribed, table
from open_port import opened
from servers import Broker, free_port, wait_until

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
