"""Probes on a broker in the whole service: to a verdict, and in the commands beside it."""

import json
import threading
import time
from collections.abc import Mapping
from contextlib import ExitStack, closing
from pathlib import Path

import pytest

from afterfill.records import Quantity
from afterfill.simulation.virtual_probe import VirtualOrpProbe
from afterfill.simulation.virtual_tank import Inflow, VirtualTank
from afterfill.simulation.virtual_water import TankHabits
from broker_device import BrokerDevice
from mqtt_peers import Listener
from servers import Broker
from system.fault_present import here
from system.live_service import LiveService
from system.test_guided_routines import Hand, Routine
from tank_stories import raw

pytestmark = pytest.mark.system
SPEED = 60.0
EVERY_S = 20.0
TOPIC = "shelf/head"


def tables(broker: int, every_s: float) -> str:
    text = f'[mqtt]\nhost = "127.0.0.1"\nport = {broker}\n'
    text += '[source.tap]\ndisinfectant = "chloramine"\nresidual_mg_l = 2.0\ntemperature_c = 15\n'
    for quantity in ("orp", "ph", "temperature"):
        text += (
            f'[[probe]]\ntank = "t"\nquantity = "{quantity}"\ndriver = "mqtt"\nport = "mqtt"\n'
            f'topic = "{TOPIC}"\npath = "{quantity}"\nevery_s = {every_s}\n'
        )
    return text


class Tank:
    """A virtual tank on the service's fast clock; any thread may look."""

    def __init__(self) -> None:
        self.tank = VirtualTank(TankHabits(), VirtualOrpProbe(1))
        self._began_s, self._lock = time.monotonic(), threading.Lock()

    def now_s(self) -> float:
        return (time.monotonic() - self._began_s) * SPEED

    def __call__(self) -> Mapping[Quantity, float]:
        with self._lock:
            self.tank.moved_to(self.now_s())
            return self.tank.measured()

    def pour_raw(self, share: float) -> None:
        with self._lock:
            now_s = self.now_s()
            water = raw("chloramine", 3.0)
            self.tank.inflows.append(Inflow(now_s, now_s + 600.0, share, water))


@pytest.mark.timeout(300)
def test_a_wireless_device_leads_to_a_verdict(tmp_path: Path) -> None:
    tank = Tank()
    with (
        Broker(tmp_path / "broker") as broker,
        BrokerDevice(broker.port, TOPIC, tank, EVERY_S / SPEED),
        Listener(broker.port, "afterfill/t/answer") as hub,
        LiveService(
            tmp_path, speed=SPEED, quantities=(), extra=tables(broker.port, EVERY_S)
        ) as service,
    ):
        service.start()
        service.wait_for(lambda: len(service.records("reading")) > 180, "20 minutes of quiet", 60)
        tank.pour_raw(0.5)
        said = {"litres": 50, "minutes": 10, "neutraliser_ml": 0}
        hub.send("afterfill/t/log/refill", json.dumps(said))
        hub.wait_for("afterfill/t/answer", lambda p: json.loads(p)["ok"])
        service.wait_for(
            lambda: any(v.verdict == "carried-over" for v in service.records("verdict")),
            "a verdict", 120,
        )  # fmt: skip
        code, _ = service.stop()
    readings = service.records("reading")
    assert code == 0
    assert {r.invalid for r in readings} == {None}
    assert "died" not in service.said()


def still() -> Mapping[Quantity, float]:
    return {"orp": 312.0, "ph": 7.01, "temperature": 25.0}


@pytest.mark.timeout(200)
def test_commands_beside_the_service_and_without_it(tmp_path: Path) -> None:
    with (
        Broker(tmp_path / "broker") as broker,
        BrokerDevice(broker.port, TOPIC, still, 0.3),
        LiveService(tmp_path, quantities=(), extra=tables(broker.port, 0.3), **here()) as service,
    ):
        alone = service.command("probe", "read", "t-ph", "--count", "2", "--every", "0")
        assert (alone.returncode, alone.stdout) == (0, "t-ph  pH 7.01\n" * 2)
        assert "waiting for the next message" in alone.stderr
        checked = service.command("check").stdout
        assert "ok       port mqtt: connected (driver mqtt)" in checked
        assert "ok       probe t-ph: pH 7.01" in checked
        service.start()
        service.wait_for_readings()
        beside = service.command("probe", "read", "t-ph")
        assert (beside.returncode, beside.stdout) == (0, "t-ph  pH 7.01\n")
        checked = service.command("check").stdout
        assert "ok       port mqtt: read by the running service" in checked
        assert "ok       probe t-ph: pH 7.01, recorded" in checked
        listed = service.command("probe", "list", "--json").stdout.splitlines()
        rows = [json.loads(line) for line in listed]
        assert {row["port"] for row in rows} == {"mqtt"}
        assert {row["value"] for row in rows} == {312.0, 7.01, 25.0}
        service.stop()
    assert {r.invalid for r in service.records("reading")} == {None}


@pytest.mark.timeout(200)
def test_a_wireless_probe_is_lent_by_the_service_while_it_is_calibrated(tmp_path: Path) -> None:
    """No lock tells that the service reads it too; it must not take a buffer for tank water."""
    hand = Hand()
    with (
        Broker(tmp_path / "broker") as broker,
        BrokerDevice(broker.port, TOPIC, hand, 0.5),
        LiveService(
            tmp_path, quantities=(), commit_every_s=60.0, extra=tables(broker.port, 0.5), **here()
        ) as service,
        ExitStack() as stack,
    ):
        service.start().wait_for_said("running")
        routine = stack.enter_context(closing(Routine(
            service, hand, "calibrate", "--quantity", "ph", "--temperature", "25",
            "--still-seconds", "3", "--json",
        )))  # fmt: skip
        routine.dip(service, "buffer 7.00", ph=7.10)
        routine.dip(service, "buffer 4.00", ph=4.16)
        routine.dip(service, "put it back")
        code, result = routine.ended()
        assert code == 0, routine.said()
        assert '"from":"journal"' in result.replace(" ", "")
        service.wait_for(lambda: len(service.records("service")) == 2, "it is told that it is back")
        assert service.records("service")[0].minutes == 10.0
        assert not [it for it in service.records("alarm") if it.state == "unacknowledged"]
