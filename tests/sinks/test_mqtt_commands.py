"""Commands to the MQTT sink through a real mosquitto."""

import json
from typing import Any

import pytest

from afterfill.journal.store import Journal
from afterfill.records import AlarmCommand, Dose, KitResult, Refill, Service
from mqtt_peers import Listener, obeying, sink_to
from sample_records import START_S, now, running, store, verdict
from servers import Broker, wait_until

pytestmark = pytest.mark.system

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
            listener.send(f"afterfill/window/{topic}", payload)
            wait_until(lambda: len(listener.payloads("afterfill/window/answer")) == number, topic)  # noqa: B023
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
    ("window/log/refil", "{}", False, "'refil' cannot be logged"),
    ("window/log/dose", '{"neutraliser_ml": -1}', False, "greater than or equal to 0"),
    ("window/log/dose", "{neutraliser", False, "the payload is not JSON"),
    ("window/log/dose", b"\xff\x00", False, "the payload is not JSON"),
    ("window/log/dose", "[" * 3000, False, "the payload is not JSON"),
    ("window/log/dose", "[2]", False, "must be a JSON object"),
    ("window/log/dose", " " * 5000 + "{}", False, "has 5002 bytes; at most 4096"),
    ("window/log/dose", '{"neutraliser_ml": 3}', True, "a retained command is not obeyed"),
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


def test_a_command_that_the_broker_kept_is_refused_at_the_next_start(
    journal: Journal, broker: Broker
) -> None:
    with Listener(broker.port, "afterfill/window/answer") as listener:
        listener.send("afterfill/window/log/dose", '{"neutraliser_ml": 3}', retain=True)
        with running(sink_to(journal, broker.port, version="3.1.1")):
            answer = json.loads(listener.wait_for("afterfill/window/answer"))
    assert "a retained command is not obeyed" in answer["error"]
    assert journal.inbox() == []


def test_a_flood_of_commands_does_not_stop_delivery(
    journal: Journal, shared_broker: Broker
) -> None:
    with obeying(journal, shared_broker.port) as listener:
        for _ in range(1000):
            listener._client.publish("afterfill/window/log/dose", "rubbish", qos=0)
        store(journal, verdict(START_S))
        listener.wait_for("afterfill/window/verdict")
    assert journal.inbox() == []
