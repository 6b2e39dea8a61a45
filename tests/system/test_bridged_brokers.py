"""Two real brokers, one bridged to the other by the guide's own text; a service at the one, a hub
at the other."""

import json
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from afterfill.wire import rfc3339
from cut_line import CutLine
from mqtt_peers import Listener, retained_with
from servers import Broker, free_port, wait_until
from system.live_service import LiveService

pytestmark = [pytest.mark.system, pytest.mark.timeout(180)]
README = (Path(__file__).parents[2] / "daemon" / "README.md").read_text()
PASSWORD = "a long one"
BRIDGE = "bridge/kitchen"
OUT = ("kitchen/+/+", "kitchen/service/+/status", "kitchen/+/alarm/+", "homeassistant/#")
MANY = 3000  # more than a broker holds back for a client by default


def of_the_guide(name: str) -> str:
    """The text that stands there between the marks of this name."""
    return README.split(f"<!-- {name}: begin -->\n```\n")[1].split("```\n<!--")[0]


@dataclass
class Room:
    """A room's broker, the line to the hub's, and a service; all by its name."""

    name: str
    broker: Broker
    line: CutLine
    service: LiveService

    def kept(self, topic: str) -> dict[str, bytes]:
        """What its broker keeps, but for what stays there."""
        found = retained_with(self.broker.port, topic, "afterfill", PASSWORD)
        return {t: p for t, p in found.items() if t != f"{self.name}/status"}


@dataclass
class House:
    """The hub's broker takes rooms over TLS, and the hub on a plain port of this machine."""

    broker: Broker
    plain_port: int
    room: Room

    def hub(self) -> Listener:
        """The hub: it hears all, and may command."""
        return Listener(self.plain_port, "#", login=("hub", PASSWORD))

    def kept(self, topic: str) -> dict[str, bytes]:
        """What the hub's broker keeps."""
        return retained_with(self.plain_port, topic, "hub", PASSWORD)

    def is_told_in_full(self) -> bool:
        """Whether the hub's broker keeps the same under each topic that is to cross."""
        kept = [(self.room.kept(topic), self.kept(topic)) for topic in OUT]
        return all(room == hub != {} for room, hub in kept)


def written(text: str, exchanged: dict[str, str]) -> str:
    """The guide's text with the addresses and secrets of a test."""
    for ours, theirs in exchanged.items():
        assert text.count(ours) == 1
        text = text.replace(ours, theirs)
    return text


@contextmanager
def room(folder: Path, hub_broker: Broker, name: str, protocol: str = "mqttv50") -> Iterator[Room]:
    """A room that is bridged as the guide says; its service is not started."""
    line = CutLine(hub_broker.port)
    exchanged = {
        "hub.example:8883": f"127.0.0.1:{line.port}",
        "/etc/mosquitto/certs/hub-ca.crt": str(hub_broker.folder / "ca.crt"),
        "CHANGE-ME": PASSWORD,
        "restart_timeout 2 30": "restart_timeout 1 2",
        "mqttv50": protocol,
    }
    bridge = written(of_the_guide("bridge"), exchanged).replace("kitchen", name)
    more = of_the_guide("queue") + bridge
    broker = Broker(folder / f"{name} broker", user="afterfill", password=PASSWORD, more=more)
    secret = folder / "password"
    secret.write_text(PASSWORD)
    mqtt = (
        f'[mqtt]\nhost = "127.0.0.1"\nport = {broker.port}\nusername = "afterfill"\n'
        f'password_file = "{secret}"\nbase = "{name}"\nbridge_topic = "bridge/{name}"\n'
    )
    # a slow tank, so that what is kept stands still while it is compared
    service = LiveService(folder / name, extra=f"{mqtt}[source.tap]\n", every_s=5.0)
    with line, broker, service:
        yield Room(name, broker, line, service)


@pytest.fixture
def house(tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[House]:
    """With the kitchen; a parameter is its bridge's protocol."""
    plain = free_port()
    of_kitchen = of_the_guide("bridge acl")
    of_hub = "user hub\ntopic readwrite done/now\n"  # for what looks what is kept
    broker = Broker(
        tmp_path / "hub", tls=True, user="hub", others=("kitchen", "cellar"), password=PASSWORD,
        acl=of_kitchen + of_kitchen.replace("kitchen", "cellar") + of_hub,
        more=f"listener {plain} 127.0.0.1\n{of_the_guide('queue')}",
    )  # fmt: skip
    protocol = getattr(request, "param", "mqttv50")
    with broker, room(tmp_path, broker, "kitchen", protocol) as kitchen:
        yield House(broker, plain, kitchen)


def online(payload: bytes) -> bool:
    return payload == b"online"


def available(house: House) -> bool:
    """Whether the hub shows the alarm of the residual, by what its own broker keeps."""
    name = "homeassistant/binary_sensor/kitchen_t_alarm_residual-oxidant/config"
    entity = json.loads(house.kept(name)[name])
    kept = house.kept("kitchen/#") | house.kept(BRIDGE)
    return all(
        kept.get(place["topic"], b"").decode() == place.get("payload_available", "online")
        for place in entity["availability"]
    )


def expiry_s(house: House, topic: str) -> int:
    """After how long [s] the hub's broker forgets what it keeps there; 0: never."""
    found: list[int] = []
    client = paho.Client(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
    client.username_pw_set("hub", PASSWORD)
    client.on_connect = lambda c, *_: c.subscribe(topic, 1)
    client.on_message = lambda _c, _u, m: found.append(
        getattr(m.properties, "MessageExpiryInterval", 0)
    )
    client.connect("127.0.0.1", house.plain_port)
    client.loop_start()
    try:
        wait_until(lambda: found, topic)
    finally:
        client.disconnect()
        client.loop_stop()
    return found[0]


def answers(listener: Listener) -> list[bool]:
    return [json.loads(payload)["ok"] for payload in listener.payloads("kitchen/t/answer")]


def test_a_hub_behind_the_bridge_sees_commands_and_is_told_of_a_death(house: House) -> None:
    house.room.service.start()
    with house.hub() as hub:
        hub.wait_for(BRIDGE, lambda p: p == b"1")
        hub.wait_for("kitchen/t/status", online)
        hub.wait_for("kitchen/t/reading/orp")
        hub.wait_for("kitchen/t/standing")
        wait_until(house.is_told_in_full, "what is kept in the room is kept at the hub")
        assert available(house)
        assert house.kept("kitchen/status") == {}
        assert 0 < expiry_s(house, "kitchen/t/status") <= 600

        hub.send("kitchen/t/log/refill", '{"litres": 20}')
        hub.wait_for("kitchen/t/refill")
        hub.send("kitchen/t/alarm/ph/shelve", '{"minutes": 60}')
        hub.wait_for("kitchen/t/alarm/ph", lambda p: json.loads(p)["state"] == "shelved")
        hub.send("kitchen/t/log/source-test", '{"total_chlorine_mg_l": 1.5}')
        wait_until(lambda: len(answers(hub)) == 3, "three answers")
        assert answers(hub) == [True, True, True]
        assert len(hub.payloads("kitchen/t/log/refill")) == 1, "no command comes back"
        assert len(house.room.service.records("refill")) == 1

        house.room.service.kill()
        of_service = next(t for t, _, _ in hub.heard if t.startswith("kitchen/service/"))
        hub.wait_for(of_service, lambda p: p == b"offline")
        assert not available(house)
        house.room.service.start()
        wait_until(lambda: available(house), "the service is back")


def test_a_rooms_own_command_stays_in_the_room(house: House) -> None:
    house.room.service.start()
    with (
        house.hub() as hub,
        Listener(house.room.broker.port, "kitchen/t/answer", login=("afterfill", PASSWORD)) as room,
    ):
        hub.wait_for("kitchen/t/status", online)
        room.send("kitchen/t/log/note", '{"text": "at the tank"}')
        hub.wait_for("kitchen/t/answer")
        assert hub.payloads("kitchen/t/log/note") == []


def test_of_two_rooms_one_answers_and_both_know_what_one_has_learnt_of_the_tap(
    house: House, tmp_path: Path
) -> None:
    with room(tmp_path, house.broker, "cellar") as cellar, house.hub() as hub:
        for service in (house.room.service, cellar.service):
            service.start()
        for name in ("kitchen", "cellar"):
            hub.wait_for(f"{name}/t/status", online)
        hub.send("cellar/t/log/source-test", '{"total_chlorine_mg_l": 1.5}')
        house.room.service.wait_for(
            lambda: [r for r in house.room.service.records("source-learnt") if r.told_by],
            "the kitchen hears of the tap",
        )
        assert [json.loads(p)["ok"] for p in hub.payloads("cellar/t/answer")] == [True]
        assert answers(hub) == []
        assert house.room.service.records("source-test") == []


def test_more_than_a_broker_holds_back_by_default_crosses_when_the_bridge_connects(
    house: House,
) -> None:
    house.broker.stop()
    topics = {f"homeassistant/sensor/x{number}/config": b"{}" for number in range(MANY)}
    with Listener(house.room.broker.port, "none", login=("afterfill", PASSWORD)) as room:
        for topic in topics:
            room.send(topic, "{}", retain=True)
    house.broker.start()
    wait_until(lambda: house.kept(BRIDGE) == {BRIDGE: b"1"}, "the bridge stands", 60)
    wait_until(lambda: house.kept("homeassistant/#") == topics, "all have crossed", 60)


def test_the_hubs_broker_goes_and_returns_and_nothing_old_is_told_after_what_is_new(
    house: House,
) -> None:
    house.room.service.start()
    with house.hub() as hub:
        hub.wait_for("kitchen/t/standing")
        hub.wait_for("kitchen/t/alarm/ph")
        wait_until(house.is_told_in_full, "what is kept in the room is kept at the hub")
    time.sleep(2.5)  # its broker saves what it keeps each second
    house.broker.kill()
    assert house.room.service.command("alarm", "shelve", "ph", "--minutes", "60").returncode == 0
    house.room.service.wait_for(
        lambda: ("shelved", False) in house.room.service.alarms("ph"), "the alarm is put aside"
    )
    house.broker.start()
    with house.hub() as hub:
        hub.wait_for(BRIDGE, lambda p: p == b"1")
        hub.wait_for("kitchen/t/alarm/ph", lambda p: json.loads(p)["state"] == "shelved")
        wait_until(house.is_told_in_full, "what is kept in the room is kept at the hub")
        wait_until(lambda: available(house), "the entities are there")
        states = [json.loads(p) for p in hub.payloads("kitchen/t/alarm/ph")]
        assert [s["time"] for s in states] == sorted(s["time"] for s in states)
        assert [s["state"] for s in states] == ["normal"] + ["shelved"] * (len(states) - 1)
        assert hub.payloads(BRIDGE)[-1] == b"1"


@pytest.mark.parametrize("house", ["mqttv50", "mqttv311"], indirect=True)
def test_while_the_line_is_cut_the_room_is_shown_as_away_and_commands_are_not_kept_for_it(
    house: House,
) -> None:
    house.room.service.start()
    with house.hub() as hub:
        hub.wait_for("kitchen/t/standing")
        wait_until(lambda: available(house), "the entities are there")
        house.room.line.cut()
        wait_until(lambda: not available(house), "the entities are gone")
        hub.send("kitchen/t/log/refill", '{"litres": 20}')
        back = rfc3339(time.time())
        house.room.line.mend()
        hub.wait_for("kitchen/t/reading/orp", lambda p: json.loads(p)["time"] > back)
        assert available(house)
        hub.send("kitchen/t/log/note", '{"text": "of now"}')
        hub.wait_for("kitchen/t/answer")
        assert answers(hub) == [True]
    assert house.room.service.records("refill") == []


def test_a_room_without_power_is_shown_as_away_until_its_broker_is_back(house: House) -> None:
    house.room.service.start()
    with house.hub() as hub:
        hub.wait_for("kitchen/t/standing")
        wait_until(lambda: available(house), "the entities are there")
        house.room.broker.kill()
        wait_until(lambda: not available(house), "the entities are gone")
        house.room.broker.start()
        wait_until(lambda: available(house), "the entities are back", 60)
