"""Several services on one broker: each tells of itself alone, and two of one name are told so."""

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from afterfill.config import Config
from afterfill.journal.store import Journal
from afterfill.sinks.mqtt import takeover as mqtt_takeover
from afterfill.sinks.mqtt.discovery import discovery
from afterfill.sinks.mqtt.flood import AT_ONCE
from afterfill.sinks.mqtt.ids import client_id
from afterfill.sinks.mqtt.sink import MqttSink
from afterfill.sinks.mqtt.takeover import Takeovers
from mqtt_peers import Listener, config_for, lately, of_tank, retained, service_of, sink_to
from sample_records import now, one_of_each, running, store
from servers import Broker, wait_until

pytestmark = pytest.mark.system


@pytest.fixture
def second(tmp_path: Path) -> Iterator[Journal]:
    with Journal.open(tmp_path / "second.db") as opened:
        yield opened


def available(port: int, config: Config, service: str) -> set[bool]:
    """Whether the entities of a service are available, as a hub works it out from the broker."""
    kept = retained(port, "afterfill/#")
    return {
        all(kept.get(place["topic"]) == b"online" for place in payload["availability"][:2])
        for _, payload in discovery(config, service)
    }


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_of_two_services_on_one_broker_one_stops_and_the_other_s_entities_stay(
    journal: Journal, second: Journal, broker: Broker, version: str
) -> None:
    ours = config_for(broker.port, version=version)
    theirs = of_tank(ours, "other")
    for kept, tank in ((journal, "window"), (second, "other")):
        store(kept, *(replace(lately(record), tank=tank) for record in one_of_each()))

    def said() -> tuple[set[bool], set[bool]]:
        return (
            available(broker.port, ours, service_of(journal)),
            available(broker.port, theirs, service_of(second)),
        )

    with running(MqttSink(journal.path, ours, now)):
        with running(MqttSink(second.path, theirs, now)):
            wait_until(lambda: said() == ({True}, {True}), "both are there")
        wait_until(lambda: said() == ({True}, {False}), "one is there")
        wait_until(
            lambda: retained(broker.port, "afterfill/status")["afterfill/status"] == b"online",
            "one of them is there",
        )
    assert said() == ({False}, {False})
    assert retained(broker.port, "afterfill/status") == {"afterfill/status": b"offline"}
    assert any("_other_" in topic for topic in retained(broker.port, "homeassistant/#"))


def test_two_services_of_one_machine_have_client_ids_of_their_own_that_stay(
    journal: Journal, second: Journal
) -> None:
    first = service_of(journal)
    assert first != service_of(second)
    with Journal.open(journal.path) as again:
        assert service_of(again) == first
    assert client_id("mine", journal.meta("journal")) == "mine"


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_two_services_of_one_name_are_told_so_and_try_ever_more_seldom(
    journal: Journal,
    second: Journal,
    broker: Broker,
    monkeypatch: pytest.MonkeyPatch,
    version: str,
) -> None:
    monkeypatch.setattr(mqtt_takeover, "_FIRST_S", 1)
    name = {"client_id": "twins", "version": version}
    with running(one := sink_to(journal, broker.port, **name)):
        wait_until(lambda: one.health().up, "the first is connected")
        with running(other := sink_to(second, broker.port, **name)):
            sentence = "another client that calls itself 'twins' seems to take our place"
            wait_until(
                lambda: any(sentence in sink.health().detail for sink in (one, other)),
                "the collision is explained",
                40,
            )


TAKEN_OVER, SHUTTING_DOWN = 0x8E, 0x8B  # MQTT 5.0, section 2.4


def test_a_collision_slows_the_tries_down_until_the_other_one_is_gone() -> None:
    seen = Takeovers()
    assert seen.delays_s == (1, 60)
    assert not seen.lost(5000.0), "a connection that was lost"
    assert seen.delays_s == (1, 60)
    pauses = []
    for _ in range(8):
        assert seen.lost(20.0, TAKEN_OVER)
        pauses.append(seen.delays_s[0])
    assert pauses == [5, 10, 20, 40, 80, 160, 300, 300]
    seen.lost(3600.0)
    assert seen.delays_s == (1, 60)


def test_where_no_reason_is_given_three_short_connections_in_a_row_mean_a_collision() -> None:
    seen = Takeovers()
    assert [seen.lost(1.0) for _ in range(4)] == [False, False, True, True]
    assert seen.lost(60.0), "slowed down, the twins last longer"
    assert not seen.lost(3600.0)
    reasoned = Takeovers()
    assert not any(reasoned.lost(1.0, SHUTTING_DOWN) for _ in range(4)), "a broker in trouble"


def test_the_status_of_the_base_is_put_right_when_another_service_leaves(
    journal: Journal, broker: Broker
) -> None:
    with (
        Listener(broker.port, "afterfill/status") as listener,
        running(sink := sink_to(journal, broker.port)),
    ):
        wait_until(lambda: sink.health().up, "the sink is connected")
        listener.send("afterfill/status", "offline", retain=True)
        wait_until(lambda: listener.payloads("afterfill/status")[-1] == b"online", "put right")


@pytest.fixture
def two(journal: Journal, second: Journal, broker: Broker) -> Iterator[Listener]:
    """Services of the tanks `window` and `other`, both there, and one who hears their answers."""
    theirs = of_tank(config_for(broker.port), "other")
    with (
        Listener(broker.port, "afterfill/+/answer", "afterfill/+/status") as listener,
        running(sink_to(journal, broker.port)),
        running(MqttSink(second.path, theirs, now)),
    ):
        for tank in ("window", "other"):
            listener.wait_for(f"afterfill/{tank}/status", lambda p: p == b"online")
        yield listener


def answers(listener: Listener, tank: str) -> list[tuple[bool, str]]:
    said = [json.loads(payload) for payload in listener.payloads(f"afterfill/{tank}/answer")]
    return [(answer["ok"], answer.get("error", "")) for answer in said]


def test_a_command_is_answered_by_the_service_that_has_the_tank_and_by_no_other(
    two: Listener, second: Journal
) -> None:
    for number in (1, 2):
        two.send("afterfill/other/log/note", '{"text": "for the other"}')
        wait_until(lambda: len(answers(two, "other")) >= number, "an answer")  # noqa: B023 - now
    two.send("afterfill/othr/log/note", '{"text": "a slip"}')
    wait_until(lambda: len(answers(two, "othr")) == 2, "both say that they have no such tank")
    assert answers(two, "other") == [(True, ""), (True, "")]
    assert {ok for ok, _ in answers(two, "othr")} == {False}
    assert any("did you mean 'other'" in error for _, error in answers(two, "othr"))
    assert len(second.inbox()) == 2


def test_commands_on_the_tank_of_another_service_wear_out_no_patience(
    two: Listener, journal: Journal
) -> None:
    for number in range(AT_ONCE + 5):
        two.send("afterfill/other/log/note", f'{{"text": "note {number}"}}')
    two.send("afterfill/window/log/note", '{"text": "ours"}')
    wait_until(lambda: answers(two, "window"), "an answer")
    assert answers(two, "window") == [(True, "")]
    assert len(journal.inbox()) == 1
