"""Commands to the MQTT sink through a real mosquitto."""

import json
import time
from functools import partial
from typing import Any

import paho.mqtt.client as paho
import pytest

from afterfill.config import Mqtt
from afterfill.journal.store import Journal
from afterfill.records import (
    AlarmCommand,
    Correction,
    Dose,
    KitResult,
    Note,
    Refill,
    Service,
    SourceTest,
    Stock,
)
from afterfill.sinks.mqtt.connection import MAX_WAITING, Arrived, Connection
from afterfill.sinks.mqtt.flood import AT_ONCE, Allowance
from mqtt_peers import Listener, lately, obeying, sink_to, wait_for_online
from sample_records import START_S, alarm, now, orp, running, store
from servers import Broker, wait_until

pytestmark = pytest.mark.system

COMMANDS = [
    ("log/refill", '{"litres": "10 US gal", "neutraliser_ml": null}', Refill, "litres", 37.85),
    ("log/kit", '{"total_ammonia_mg_l": 0.25}', KitResult, "total_ammonia_mg_l", 0.25),
    ("log/dose", '{"neutraliser_ml": 2}', Dose, "neutraliser_ml", 2.0),
    ("log/source-test", '{"total_chlorine_mg_l": 3}', SourceTest, "total_chlorine_mg_l", 3.0),
    ("log/stock", '{"what": "counted", "neutraliser_ml": 120}', Stock, "neutraliser_ml", 120.0),
    ("log/service", '{"what": "probe"}', Service, "what", "probe"),
    ("log/note", '{"text": "new lamp"}', Note, "text", "new lamp"),
    ("alarm/residual-oxidant/acknowledge", "", AlarmCommand, "action", "acknowledge"),
    ("alarm/probe-lost/shelve", '{"minutes": 60}', AlarmCommand, "minutes", 60.0),
]


def answered(listener: Listener, number: int) -> bool:
    return len(listener.payloads("afterfill/window/answer")) == number


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_commands_are_left_in_the_inbox_and_answered(
    journal: Journal, shared_broker: Broker, version: str
) -> None:
    with obeying(journal, shared_broker.port, version=version) as listener:
        for number, (topic, payload, *_) in enumerate(COMMANDS, 1):
            listener.send(f"afterfill/window/{topic}", payload)
            wait_until(partial(answered, listener, number), topic)
            answer = json.loads(listener.payloads("afterfill/window/answer")[-1])
            assert answer == {"ok": True, "command": topic, "number": number}
    found = journal.inbox()
    assert len(found) == len(COMMANDS)
    for (_, event, stamp), (_, _, kind, key, value) in zip(found, COMMANDS, strict=True):
        assert type(event) is kind
        assert getattr(event, key) == (pytest.approx(value, rel=1e-3) if key == "litres" else value)
        assert event.tank == "window"
        assert event.time_s == stamp.time_s == pytest.approx(now().time_s, abs=30)


REFUSED: list[tuple[str, str | bytes, bool, str]] = [
    ("window/log/refill", '{"liters": 5}', False, "unknown key 'liters'; did you mean 'litres'?"),
    ("window/log/refill", '{"source": "wel"}', False, "no source 'wel'; did you mean 'well'?"),
    ("window/log/refil", "{}", False, "'refil' cannot be logged"),
    ("window/log/dose", '{"neutraliser_ml": -1}', False, "greater than or equal to 0"),
    ("window/log/dose", "{neutraliser", False, "the payload is not JSON"),
    ("window/log/dose", b"\xff\x00", False, "the payload is not JSON"),
    ("window/log/dose", "[" * 3000, False, "the payload is not JSON"),
    ("window/log/dose", "[2]", False, "must be a JSON object"),
    ("window/log/dose", " " * 5000 + "{}", False, "has more than 4096 bytes"),
    ("window/log/dose", '{"neutraliser_ml": 3}', True, "a retained command is not obeyed"),
    ("window/log/dose", '{"neutraliser_ml": true}', False, "is True: input should be a valid"),
    ("window/log/dose", '{"neutraliser_ml": "1,200"}', False, "'1,200' may be 1.2 or 1200"),
    ("window/log/refill", '{"litres": "10 gal"}', False, "'10 US gal' (37.85 L) or '10 imp gal'"),
    ("window/log/refill", '{"litres": true}', False, "is True: input should be a valid"),
    ("window/log/refill", '{"litres": 1e999}', False, "finite number"),
    ("window/log/refill", '{"source": "\\ud800"}', False, "is "),
    ("window/alarm/residual/acknowledge", "", False, "did you mean 'residual-oxidant'?"),
    ("window/alarm/probe-lost/shelve", "", False, "key 'minutes' is missing"),
    ("windw/log/dose", '{"neutraliser_ml": 3}', False, "there is no tank 'windw'; did you mean"),
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


def test_a_word_is_corrected_and_taken_back_over_the_broker(
    journal: Journal, shared_broker: Broker
) -> None:
    number = store(journal, lately(Dose(START_S, "window", 30.0)))
    more = store(journal, lately(Refill(START_S + 1, "window", "replace", 25.0)))
    with obeying(journal, shared_broker.port) as listener:
        listener.send("afterfill/window/log/correction", f'{{"of": {number}, "neutraliser_ml": 3}}')
        wait_until(partial(answered, listener, 1), "an answer")
        listener.send("afterfill/window/log/correction", f'{{"of": {more}, "remove": true}}')
        wait_until(partial(answered, listener, 2), "an answer")
        listener.send("afterfill/window/log/refill", '{"litres": 250}')
        wait_until(partial(answered, listener, 3), "an answer")
        listener.send("afterfill/window/log/refill", '{"litres": 250, "sure": true}')
        wait_until(partial(answered, listener, 4), "an answer")
        answers = [json.loads(p) for p in listener.payloads("afterfill/window/answer")]
    assert [answer["ok"] for answer in answers] == [True, True, False, True]
    assert 'if it is meant so, send it with "sure": true' in answers[2]["error"]
    first, second, third = [event for _, event, _ in journal.inbox()]
    assert isinstance(first, Correction)
    assert isinstance(first.word, Dose)
    assert (first.of, first.word.neutraliser_ml) == (number, 3.0)
    assert isinstance(second, Correction)
    assert (second.of, second.word) == (more, None)
    assert isinstance(third, Refill)


def test_a_command_that_the_broker_kept_is_refused_at_the_next_start(
    journal: Journal, broker: Broker
) -> None:
    with Listener(broker.port, "afterfill/window/answer") as listener:
        listener.send("afterfill/window/log/dose", '{"neutraliser_ml": 3}', retain=True)
        with running(sink_to(journal, broker.port, version="3.1.1")):
            answer = json.loads(listener.wait_for("afterfill/window/answer"))
    assert "a retained command is not obeyed" in answer["error"]
    assert journal.inbox() == []


def test_a_command_sent_while_the_service_was_away_is_not_obeyed_later(
    journal: Journal, broker: Broker
) -> None:
    with running(sink := sink_to(journal, broker.port)):
        wait_until(lambda: sink.health().up, "the sink is connected")
    with Listener(broker.port, "afterfill/#") as listener:
        listener.send("afterfill/window/log/dose", '{"neutraliser_ml": 3}')
        with running(sink := sink_to(journal, broker.port)):
            wait_for_online(listener)
            wait_until(lambda: sink.health().up, "the sink is connected")
        assert listener.payloads("afterfill/window/answer") == []
    assert journal.inbox() == []


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_a_flood_of_commands_costs_nothing_but_the_flood(
    journal: Journal, broker: Broker, version: str
) -> None:
    with obeying(journal, broker.port, version=version) as listener:
        began_s = time.monotonic()
        dose = '{"neutraliser_ml": 1}'
        for _ in range(10_000):
            listener._client.publish("afterfill/window/log/dose", dose, qos=0)
        store(journal, lately(orp(1)), lately(alarm(START_S)))
        listener.wait_for("afterfill/window/alarm/residual-oxidant")
        listener.wait_for("afterfill/window/reading/orp")
        delivered_s = time.monotonic() - began_s
        answer = listener.wait_for("afterfill/window/answer", lambda p: b"too many came" in p)
        obeyed = len(journal.inbox(limit=10_000))
        took_s = time.monotonic() - began_s
        answers = len(listener.payloads("afterfill/window/answer"))
    assert "send what still matters again" in json.loads(answer)["error"]
    assert delivered_s < 10.0
    assert obeyed <= AT_ONCE + took_s + 1
    assert answers <= obeyed + took_s / 5 + 1, "the answers are not joined"


def test_what_waits_to_be_looked_at_is_bounded() -> None:
    connection = Connection(Mqtt(host="nowhere"), "afterfill-test")
    message = paho.MQTTMessage(topic=b"afterfill/window/log/dose")
    message.payload = b" " * 1_000_000
    for _ in range(10_000):
        connection._on_message(None, None, message)
    assert connection._happenings.qsize() == MAX_WAITING
    assert connection.take_dropped() == 10_000 - MAX_WAITING
    assert connection.take_dropped() == 0
    arrived = connection.next(0)
    assert isinstance(arrived, Arrived)
    assert len(arrived.payload) == 4097


def test_a_few_commands_at_once_and_one_a_second_are_looked_at() -> None:
    allowance = Allowance(at_s=100.0)
    assert sum(allowance.take(100.0) for _ in range(1000)) == AT_ONCE
    assert [allowance.take(102.0) for _ in range(3)] == [True, True, False]
    assert allowance.to_tell(102.0) == 1000 - AT_ONCE + 1
    allowance.take(102.0)
    assert allowance.to_tell(103.0) == 0, "told just now"
    assert allowance.to_tell(107.0) == 1
