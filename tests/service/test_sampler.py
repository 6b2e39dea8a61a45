"""The sampling of one port, with a port that does what the test says."""

import queue
import threading
from collections.abc import Sequence

import pytest
from pydantic import BaseModel

from afterfill.errors import DeviceUnavailable
from afterfill.ports import ProbeSpec, Sample
from afterfill.records import Stamp
from afterfill.service import sampler as sampler_module
from afterfill.service.driver_registry import PortPlan
from afterfill.service.sampler import Sampler
from afterfill.service.threads import Batch, Chore, sample_for_ever


class NoSettings(BaseModel):
    """A driver without keys of its own."""


PLAN = PortPlan(
    device="/dev/probe",
    driver="fake",
    probes=(ProbeSpec("t-orp", "orp", NoSettings()), ProbeSpec("t-ph", "ph", NoSettings())),
    every_s={"t-orp": 10.0, "t-ph": 30.0},
    offset={"t-orp": 5.0, "t-ph": 0.0},
    tank={"t-orp": "t", "t-ph": "t"},
    quantity={"t-orp": "orp", "t-ph": "ph"},
)


class Port:
    """Answers 300 and 7.2, unless it is unplugged."""

    def __init__(self) -> None:
        self.plugged, self.opened, self.bad = True, 0, False

    def open(self) -> None:
        if not self.plugged:
            raise DeviceUnavailable("/dev/probe is gone; plug it in")
        self.opened += 1

    def read(self, due: Sequence[str]) -> list[Sample]:
        if not self.plugged:
            raise DeviceUnavailable("/dev/probe is gone; plug it in")
        if self.bad:
            return [Sample(name, None, "garbled", b"\x01\x02") for name in due]
        return [Sample(name, {"t-orp": 300.0, "t-ph": 7.2}[name]) for name in due]

    def close(self) -> None:
        pass


@pytest.fixture
def port(monkeypatch: pytest.MonkeyPatch) -> Port:
    fake = Port()
    monkeypatch.setattr(sampler_module, "open_port", lambda plan: fake)
    return fake


def at(monotonic_s: float) -> Stamp:
    return Stamp(1.8e9 + monotonic_s, True, "b", monotonic_s)


def test_each_probe_is_read_at_its_own_pace_in_the_order_of_the_fold(port: Port) -> None:
    sampler = Sampler(PLAN)
    read = [[r.quantity for r in sampler.read_due(at(100.0 + 10.0 * n))] for n in range(4)]
    assert read == [["ph", "orp"], ["orp"], ["orp"], ["ph", "orp"]]


def test_the_offset_of_the_configuration_is_added(port: Port) -> None:
    readings = Sampler(PLAN).read_due(at(100.0))
    assert {r.quantity: r.value for r in readings} == {"orp": 305.0, "ph": 7.2}


def test_a_bad_reply_is_a_reading_with_its_reason_and_bytes(port: Port) -> None:
    port.bad = True
    (reading, _) = Sampler(PLAN).read_due(at(100.0))
    assert (reading.value, reading.invalid, reading.raw) == (None, "garbled", "01 02")


def test_a_lost_port_gives_readings_that_say_so_and_is_found_again(
    port: Port, caplog: pytest.LogCaptureFixture
) -> None:
    sampler = Sampler(PLAN)
    sampler.read_due(at(100.0))
    port.plugged = False
    for n in range(1, 7):
        assert {r.invalid for r in sampler.read_due(at(100.0 + 10.0 * n))} == {"port-lost"}
    port.plugged = True
    found = [sampler.read_due(at(160.0 + 10.0 * n)) for n in range(1, 5)]
    assert found[-1][-1].value == 305.0
    said = [record.getMessage() for record in caplog.records]
    assert said == ["/dev/probe is gone; plug it in; trying again", "port /dev/probe is back"]


def test_health_tells_age_and_errors(port: Port) -> None:
    sampler = Sampler(PLAN)
    sampler.read_due(at(100.0))
    port.bad = True
    sampler.read_due(at(110.0))
    orp = next(h for h in sampler.health(at(112.0)) if h.component == "probe t-orp")
    assert (orp.up, orp.age_s, orp.errors, orp.detail) == (True, 12.0, 1, "garbled")
    sampler.read_due(at(400.0))
    orp = next(h for h in sampler.health(at(400.0)) if h.component == "probe t-orp")
    assert not orp.up


def test_missed_times_are_not_made_up_for(port: Port) -> None:
    sampler = Sampler(PLAN)
    sampler.read_due(at(100.0))
    assert len(sampler.read_due(at(1000.0))) == 2
    assert sampler.read_due(at(1001.0)) == []
    assert sampler.next_due_s() == pytest.approx(1005.0, abs=5.1)


def test_a_probe_with_nothing_new_to_say_is_looked_at_again_soon_and_once_it_spoke_at_its_pace(
    port: Port, monkeypatch: pytest.MonkeyPatch
) -> None:
    speaks = {"t-ph"}
    monkeypatch.setattr(
        port, "read", lambda due: [Sample(name, 300.0) for name in due if name in speaks]
    )
    sampler = Sampler(PLAN)
    assert [r.probe for r in sampler.read_due(at(100.0))] == ["t-ph"]
    assert sampler.next_due_s() == 101.0
    assert sampler.read_due(at(101.0)) == []
    speaks.add("t-orp")
    assert [r.probe for r in sampler.read_due(at(102.0))] == ["t-orp"]
    assert sampler.next_due_s() == 112.0
    assert [h.detail for h in sampler.health(at(102.0))] == ["", ""]


class Waiting:
    """A clock on which time passes in waits alone; the service stops after `lasts_s` [s]."""

    def __init__(self, stop: threading.Event, lasts_s: float) -> None:
        self._stop, self._lasts_s, self._now_s = stop, lasts_s, 0.0
        self.waits_s: list[float] = []

    def monotonic_s(self) -> float:
        return self._now_s

    def stamp(self) -> Stamp:
        return at(self._now_s)

    def wait(self, seconds: float) -> None:
        self.waits_s.append(seconds)
        self._now_s += seconds
        if self._now_s >= self._lasts_s:
            self._stop.set()


def test_a_port_is_not_woken_before_its_next_reading_is_due(port: Port) -> None:
    stop, work = threading.Event(), queue.SimpleQueue[Batch | Chore]()
    clock = Waiting(stop, lasts_s=60.0)
    sample_for_ever(Sampler(PLAN), clock, work, stop)
    assert clock.waits_s == [10.0] * 6
    assert work.qsize() == 6
