"""Two real brokers, one bridged to the other by the guide's own text; a service at the one, a hub
at the other."""

import json
import time
from collections.abc import Iterator
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
BRIDGE = "bridge/room"
OUT = ("afterfill/+/+", "afterfill/service/+/status", "afterfill/+/alarm/+", "homeassistant/#")
MANY = 3000  # more than a broker holds back for a client by default


def of_the_guide(name: str) -> str:
    """The text that stands there between the marks of this name."""
    return README.split(f"<!-- {name}: begin -->\n```\n")[1].split("```\n<!--")[0]


@dataclass
class House:
    """The hub's broker takes the room's over TLS, and the hub on a plain port of this machine."""

    hub_broker: Broker
    hub_port: int
    room_broker: Broker
    service: LiveService
    line: CutLine

    def hub(self) -> Listener:
        """The hub: it hears all, and may command."""
        topics = ("afterfill/#", "homeassistant/#", BRIDGE)
        return Listener(self.hub_port, *topics, login=("hub", PASSWORD))

    def at_hub(self, topic: str) -> dict[str, bytes]:
        """What the hub's broker keeps."""
        return retained_with(self.hub_port, topic, "hub", PASSWORD)

    def at_room(self, topic: str) -> dict[str, bytes]:
        """What the room's broker keeps, but what stays there."""
        found = retained_with(self.room_broker.port, topic, "afterfill", PASSWORD)
        return {t: p for t, p in found.items() if t != "afterfill/status"}

    def is_told_in_full(self) -> bool:
        """Whether the hub's broker keeps the same under each topic that is to cross."""
        kept = [(self.at_room(topic), self.at_hub(topic)) for topic in OUT]
        return all(room == hub != {} for room, hub in kept)


@pytest.fixture
def house(tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[House]:
    """The guide's text, but for addresses and secrets; a parameter is the bridge's protocol."""
    port, plain = free_port(), free_port()
    of_hub = of_the_guide("acl").replace(
        "user hub\n", f"user hub\ntopic read {BRIDGE}\ntopic readwrite done/now\n"
    )
    hub_broker = Broker(
        tmp_path / "hub", port=port, tls=True, user="hub", others=("room", "screen"),
        password=PASSWORD, acl=of_hub + of_the_guide("bridge acl"),
        more=f"listener {plain} 127.0.0.1\n{of_the_guide('queue')}",
    )  # fmt: skip
    bridge, line = of_the_guide("bridge"), CutLine(port)
    for ours, theirs in (
        ("hub.example:8883", f"127.0.0.1:{line.port}"),
        ("/etc/mosquitto/certs/hub-ca.crt", str(hub_broker.folder / "ca.crt")),
        ("CHANGE-ME", PASSWORD),
        ("restart_timeout 2 30", "restart_timeout 1 2"),
        ("mqttv50", getattr(request, "param", "mqttv50")),
    ):
        assert bridge.count(ours) == 1
        bridge = bridge.replace(ours, theirs)
    room_broker = Broker(
        tmp_path / "room", user="afterfill", password=PASSWORD, more=of_the_guide("queue") + bridge
    )
    secret = tmp_path / "password"
    secret.write_text(PASSWORD)
    mqtt = (
        f'[mqtt]\nhost = "127.0.0.1"\nport = {room_broker.port}\nusername = "afterfill"\n'
        f'password_file = "{secret}"\nbridge_topic = "{BRIDGE}"\n[source.tap]\n'
    )
    # a slow tank, so that what is kept stands still while it is compared
    service = LiveService(tmp_path / "service", extra=mqtt, every_s=5.0)
    with hub_broker, line, room_broker, service:
        yield House(hub_broker, plain, room_broker, service, line)


def online(payload: bytes) -> bool:
    return payload == b"online"


def available(house: House) -> bool:
    """Whether the hub shows the alarm of the residual, by what its own broker keeps."""
    name = "homeassistant/binary_sensor/afterfill_t_alarm_residual-oxidant/config"
    entity = json.loads(house.at_hub(name)[name])
    kept = house.at_hub("#")
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
    client.connect("127.0.0.1", house.hub_port)
    client.loop_start()
    try:
        wait_until(lambda: found, topic)
    finally:
        client.disconnect()
        client.loop_stop()
    return found[0]


def answers(listener: Listener) -> list[bool]:
    return [json.loads(payload)["ok"] for payload in listener.payloads("afterfill/t/answer")]


def test_a_hub_behind_the_bridge_sees_commands_and_is_told_of_a_death(house: House) -> None:
    house.service.start()
    with house.hub() as hub:
        hub.wait_for(BRIDGE, lambda p: p == b"1")
        hub.wait_for("afterfill/t/status", online)
        hub.wait_for("afterfill/t/reading/orp")
        hub.wait_for("afterfill/t/standing")
        wait_until(house.is_told_in_full, "what is kept in the room is kept at the hub")
        assert available(house)
        assert house.at_hub("afterfill/status") == {}
        assert 0 < expiry_s(house, "afterfill/t/status") <= 600

        hub.send("afterfill/t/log/refill", '{"litres": 20}')
        hub.wait_for("afterfill/t/refill")
        hub.send("afterfill/t/alarm/ph/shelve", '{"minutes": 60}')
        hub.wait_for("afterfill/t/alarm/ph", lambda p: json.loads(p)["state"] == "shelved")
        hub.send("afterfill/t/log/source-test", '{"total_chlorine_mg_l": 1.5}')
        hub.wait_for("afterfill/source/tap/belief")
        assert answers(hub) == [True, True, True]
        assert len(hub.payloads("afterfill/t/log/refill")) == 1, "no command comes back"
        assert len(house.service.records("refill")) == 1

        house.service.kill()
        of_service = next(t for t, _, _ in hub.heard if t.startswith("afterfill/service/"))
        hub.wait_for(of_service, lambda p: p == b"offline")
        assert not available(house)
        house.service.start()
        wait_until(lambda: available(house), "the service is back")


def test_a_rooms_own_command_stays_in_the_room(house: House) -> None:
    house.service.start()
    room = Listener(house.room_broker.port, "afterfill/t/answer", login=("afterfill", PASSWORD))
    with house.hub() as hub, room:
        hub.wait_for("afterfill/t/status", online)
        room.send("afterfill/t/log/note", '{"text": "at the tank"}')
        hub.wait_for("afterfill/t/answer")
        assert hub.payloads("afterfill/t/log/note") == []


def test_more_than_a_broker_holds_back_by_default_crosses_when_the_bridge_connects(
    house: House,
) -> None:
    house.hub_broker.stop()
    topics = {f"homeassistant/sensor/x{number}/config": b"{}" for number in range(MANY)}
    with Listener(house.room_broker.port, "none", login=("afterfill", PASSWORD)) as room:
        for topic in topics:
            room.send(topic, "{}", retain=True)
    house.hub_broker.start()
    wait_until(lambda: house.at_hub(BRIDGE) == {BRIDGE: b"1"}, "the bridge stands", 60)
    wait_until(lambda: house.at_hub("homeassistant/#") == topics, "all have crossed", 60)


def test_the_hubs_broker_goes_and_returns_and_nothing_old_is_told_after_what_is_new(
    house: House,
) -> None:
    house.service.start()
    with house.hub() as hub:
        hub.wait_for("afterfill/t/standing")
        hub.wait_for("afterfill/t/alarm/ph")
        wait_until(house.is_told_in_full, "what is kept in the room is kept at the hub")
    time.sleep(2.5)  # its broker saves what it keeps each second
    house.hub_broker.kill()
    assert house.service.command("alarm", "shelve", "ph", "--minutes", "60").returncode == 0
    house.service.wait_for(
        lambda: ("shelved", False) in house.service.alarms("ph"), "the alarm is put aside"
    )
    house.hub_broker.start()
    with house.hub() as hub:
        hub.wait_for(BRIDGE, lambda p: p == b"1")
        hub.wait_for("afterfill/t/alarm/ph", lambda p: json.loads(p)["state"] == "shelved")
        wait_until(house.is_told_in_full, "what is kept in the room is kept at the hub")
        wait_until(lambda: available(house), "the entities are there")
        states = [json.loads(p) for p in hub.payloads("afterfill/t/alarm/ph")]
        assert [s["time"] for s in states] == sorted(s["time"] for s in states)
        assert [s["state"] for s in states] == ["normal"] + ["shelved"] * (len(states) - 1)
        assert hub.payloads(BRIDGE)[-1] == b"1"


@pytest.mark.parametrize("house", ["mqttv50", "mqttv311"], indirect=True)
def test_while_the_line_is_cut_the_room_is_shown_as_away_and_commands_are_not_kept_for_it(
    house: House,
) -> None:
    house.service.start()
    with house.hub() as hub:
        hub.wait_for("afterfill/t/standing")
        wait_until(lambda: available(house), "the entities are there")
        house.line.cut()
        wait_until(lambda: not available(house), "the entities are gone")
        hub.send("afterfill/t/log/refill", '{"litres": 20}')
        back = rfc3339(time.time())
        house.line.mend()
        hub.wait_for("afterfill/t/reading/orp", lambda p: json.loads(p)["time"] > back)
        assert available(house)
        hub.send("afterfill/t/log/note", '{"text": "of now"}')
        hub.wait_for("afterfill/t/answer")
        assert answers(hub) == [True]
    assert house.service.records("refill") == []


def test_a_room_without_power_is_shown_as_away_until_its_broker_is_back(house: House) -> None:
    house.service.start()
    with house.hub() as hub:
        hub.wait_for("afterfill/t/standing")
        wait_until(lambda: available(house), "the entities are there")
        house.room_broker.kill()
        wait_until(lambda: not available(house), "the entities are gone")
        house.room_broker.start()
        wait_until(lambda: available(house), "the entities are back", 60)
