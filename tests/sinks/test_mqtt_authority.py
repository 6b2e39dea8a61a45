"""Who may command over MQTT: the key of the configuration, and the broker's own rules."""

import json
from pathlib import Path
from typing import Any

import pytest

from afterfill.config import Commands
from afterfill.journal.store import Journal
from afterfill.sinks.mqtt.commands import is_allowed, subscriptions
from afterfill.sinks.mqtt.discovery import discovery
from mqtt_peers import Listener, config_for, obeying, sink_to
from sample_records import running
from servers import Broker, wait_until

pytestmark = pytest.mark.system
README = (Path(__file__).parents[2] / "daemon" / "README.md").read_text()
ACL = README.split("<!-- acl: begin -->\n```\n")[1].split("```")[0]
ANSWER = "afterfill/window/answer"
REFILL, OUT = "afterfill/window/log/refill", "afterfill/window/alarm/ph/out-of-service"


def answers(listener: Listener) -> list[dict[str, Any]]:
    return [json.loads(payload) for payload in listener.payloads(ANSWER)]


def test_log_leaves_the_word_of_what_was_poured_and_no_alarm(
    journal: Journal, shared_broker: Broker
) -> None:
    with obeying(journal, shared_broker.port, commands="log") as listener:
        listener.send(OUT, '{"reason": "it is night"}')
        wait_until(lambda: answers(listener), "an answer")
        listener.send(REFILL, '{"litres": 25}')
        wait_until(lambda: len(answers(listener)) == 2, "an answer")
    refused, taken = answers(listener)
    assert taken["ok"]
    assert not refused["ok"]
    assert "[mqtt] commands is 'log'" in refused["error"]
    assert [type(event).__name__ for _, event, _ in journal.inbox()] == ["Refill"]


@pytest.mark.parametrize("prefix", ["homeassistant", None])
def test_none_obeys_no_one(journal: Journal, shared_broker: Broker, prefix: str | None) -> None:
    with obeying(journal, shared_broker.port, commands="none", discovery_prefix=prefix) as listener:
        listener.send(REFILL, '{"litres": 25}')
        listener.send(OUT, '{"reason": "it is night"}')
        listener.send("afterfill/window/probe", "sent after both")
        listener.wait_for("afterfill/window/probe")
        listener.wait_for("afterfill/status", lambda payload: payload == b"online")
    assert answers(listener) == []
    assert journal.inbox() == []


@pytest.mark.parametrize(
    ("commands", "buttons"),
    [("all", {"log/refill", "log/source-test", "alarm/ph/acknowledge", "alarm/ph/shelve"}),
     ("log", {"log/refill", "log/source-test"}),
     ("none", set())],
)  # fmt: skip
def test_a_button_that_would_not_be_obeyed_is_not_announced(
    commands: Commands, buttons: set[str]
) -> None:
    announced = discovery(config_for(1883, commands=commands), "afterfill-1")
    topics = {str(p.get("command_topic", "")) for _, p in announced} - {""}
    paths = {topic.removeprefix("afterfill/window/") for topic in topics}
    assert {path for path in paths if path.startswith(("log/", "alarm/ph/"))} == buttons
    assert bool(paths) == bool(buttons)
    assert [is_allowed(commands, path) for path in sorted(buttons)] == [True] * len(buttons)


def test_nothing_is_subscribed_where_nothing_is_obeyed() -> None:
    assert subscriptions("afterfill", "none") == []
    assert subscriptions("afterfill", "log") == subscriptions("afterfill")


@pytest.mark.parametrize(("user", "may"), [("hub", True), ("screen", False), ("stranger", False)])
def test_the_readmes_rules_let_the_hub_command_and_a_screen_only_look(
    tmp_path: Path, journal: Journal, user: str, may: bool
) -> None:
    others = ("hub", "screen", "stranger")
    password = tmp_path / "password"
    password.write_text("secret")
    broker = Broker(tmp_path / "broker", user="afterfill", others=others, acl=ACL)
    sink_keys = {"username": "afterfill", "password_file": password}
    with broker, running(sink := sink_to(journal, broker.port, **sink_keys)):
        wait_until(lambda: sink.health().up, "the service is let in")
        with Listener(broker.port, "afterfill/#", login=(user, "secret")) as listener:
            if user != "stranger":
                listener.wait_for("afterfill/status", lambda payload: payload == b"online")
            listener.send(REFILL, '{"litres": 25}')
            listener.send(OUT, '{"reason": "it is night"}')
            listener.send("homeassistant/sensor/forged/config", "{}")
            if may:
                wait_until(lambda: len(answers(listener)) == 2, "two answers")
        login = ("afterfill", "secret")  # what came before it has been through the broker by then
        with Listener(broker.port, "afterfill/#", "homeassistant/#", login=login) as ours:
            ours.send("afterfill/window/probe", "sent after both")
            ours.wait_for("afterfill/window/probe")
            assert "homeassistant/sensor/forged/config" not in {topic for topic, *_ in ours.heard}
    assert len(journal.inbox()) == (2 if may else 0)
    if user == "stranger":
        assert listener.heard == []
