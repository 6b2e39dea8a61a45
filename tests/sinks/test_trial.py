"""`afterfill check` tries the other sides once; and no silent other side delays a stop."""

import socket
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from afterfill.config import Influxdb, Mqtt
from afterfill.journal.store import Journal
from afterfill.sinks.influx.sink import InfluxSink
from afterfill.sinks.influx.trial import database_trouble
from afterfill.sinks.mqtt.trial import broker_trouble
from mqtt_peers import Listener, sink_to, wait_for_online
from sample_records import now, orp, running, store
from servers import Broker, Victoria, free_port, wait_until

pytestmark = pytest.mark.system


@pytest.fixture
def silent() -> Iterator[socket.socket]:
    """A server that never says a word to those who connect."""
    with socket.socket() as server:
        server.bind(("127.0.0.1", 0))
        server.listen(16)
        server.settimeout(10)
        yield server


def mqtt_table(port: int, **more: object) -> Mqtt:
    return Mqtt.model_validate({"host": "127.0.0.1", "port": port, **more})


def test_a_broker_that_accepts_us_is_no_trouble_and_the_running_sink_is_not_disturbed(
    journal: Journal, shared_broker: Broker
) -> None:
    with (
        Listener(shared_broker.port, "afterfill/status") as listener,
        running(sink_to(journal, shared_broker.port)),
    ):
        wait_for_online(listener)
        listener.heard.clear()
        assert broker_trouble(mqtt_table(shared_broker.port)) is None
        listener.send("afterfill/status", "probe of the test")
        listener.wait_for("afterfill/status", lambda p: p == b"probe of the test")
        assert listener.payloads("afterfill/status") == [b"probe of the test"]


def test_what_is_wrong_with_a_broker_is_one_sentence(silent: socket.socket, tmp_path: Path) -> None:
    refused = broker_trouble(mqtt_table(free_port()))
    assert refused is not None
    assert "connection refused" in refused
    mute = broker_trouble(mqtt_table(silent.getsockname()[1]), timeout_s=0.3)
    assert mute is not None
    assert "does not answer in time" in mute
    login = {"username": "keeper", "password_file": tmp_path / "absent"}
    assert "password_file" in (broker_trouble(mqtt_table(1, **login)) or "")


# The client drops the socket of a failed handshake without closing it; the interpreter does.
@pytest.mark.filterwarnings("ignore:Exception ignored in. <ssl.SSLSocket")
@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_each_mistake_with_a_real_broker_has_a_sentence_of_its_own(
    shared_broker: Broker, tmp_path: Path, version: str
) -> None:
    Broker(tmp_path / "another", tls=True)  # makes an authority that signed nothing here
    ours, another = tmp_path / "broker/ca.crt", tmp_path / "another/ca.crt"
    (tmp_path / "wrong").write_text("guess\n")
    (tmp_path / "right").write_text("secret\n")
    login = {"username": "keeper", "password_file": tmp_path / "right"}
    wrong = {"username": "keeper", "password_file": tmp_path / "wrong"}
    with Broker(tmp_path / "broker", user="keeper", tls=True) as broker:
        tls = {"tls": True, "ca_file": ours, "version": version}
        mistakes: dict[str, Mqtt] = {
            "refuses us (Not authorized)": mqtt_table(broker.port, **tls, **wrong),
            "cannot be trusted": mqtt_table(broker.port, **{**tls, "ca_file": another}, **login),
            "if its port expects TLS": mqtt_table(broker.port, version=version, **login),
            "does not speak TLS": mqtt_table(shared_broker.port, **tls, **login),
            "connection refused": mqtt_table(free_port(), **tls, **login),
        }
        for sentence, table in mistakes.items():
            trouble = broker_trouble(table)
            assert trouble is not None
            assert sentence in trouble
        assert broker_trouble(mqtt_table(broker.port, **tls, **login)) is None


def test_a_database_is_tried_by_writing_one_point(tmp_path: Path) -> None:
    absent = Influxdb(url=f"http://127.0.0.1:{free_port()}")
    assert "does not answer" in (database_trouble(absent, now(), "pi-1") or "")
    with Victoria(tmp_path / "victoria") as server:
        assert isinstance(server, Victoria)
        table = Influxdb(url=f"http://127.0.0.1:{server.port}")
        assert database_trouble(table, now(), "pi-1") is None
        # The server's own clock ticks in seconds: a point of this moment shows a little later.
        wait_until(lambda: server.export('health_up{component="check"}'), "the point is there")
        (series,) = server.export('health_up{component="check"}')
        assert series["values"] == [1]


# The client drops the socket of a failed handshake without closing it; the interpreter does.
@pytest.mark.filterwarnings("ignore:Exception ignored in. <ssl.SSLSocket")
@pytest.mark.parametrize("kind", ["influx", "mqtt", "mqtt-tls"])
def test_a_sink_stops_within_five_seconds_while_the_other_side_is_silent(
    journal: Journal, silent: socket.socket, kind: str
) -> None:
    store(journal, orp(0))
    port = silent.getsockname()[1]
    table = Influxdb(url=f"http://127.0.0.1:{port}", every_s=1)
    sink = (
        InfluxSink(journal.path, table, now, "pi-1")
        if kind == "influx"
        else sink_to(journal, port, tls=kind == "mqtt-tls")
    )
    with running(sink):
        connection, _ = silent.accept()
        asked_s = time.monotonic()
    assert time.monotonic() - asked_s < 5.0
    connection.close()
