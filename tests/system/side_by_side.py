"""One service with a probe on each kind of wire, each cut off in its turn.

A pseudo-terminal, a plain bridge, a bridge of RFC 2217, a Modbus TCP server, a device on a broker,
and the broker itself. A cut is sound when it is told, ends, and disturbs no other wire.
"""

import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from afterfill.records import Quantity, Reading
from afterfill.simulation.line_device import PATTERN, LineDevice
from bridges import Bridge
from broker_device import BrokerDevice
from modbus_server import HOST, ModbusServer
from servers import Broker
from system.fault_present import here
from system.live_service import LiveService

EVERY_S = 0.5
LONGEST_GAP_S = 4.0  # between readings of a wire that nothing was done to, on a busy machine
SHOWN = {"bridge": 321.0, "set-bridge": 332.0, "modbus": 343.0, "wireless": 354.0}
TOPIC = "shelf/head"
_ORP = """
[tank.{0}]
litres = 100
[[probe]]
tank = "{0}"
quantity = "orp"
every_s = {1}
"""


@dataclass(frozen=True, slots=True)
class Wire:
    """`tank` is what is read by it; `said`: words of the log about the loss, none where the port
    itself stays."""

    name: str
    tank: str
    cut: Callable[[], object]
    mend: Callable[[], object]
    said: str


@dataclass(frozen=True, slots=True)
class Cut:
    """One cut that ended: whether it was told, how long there was no value [s], and of all other
    wires the readings without a value and the longest gap [s]."""

    wire: str
    told: bool
    lasted_s: float
    others_invalid: int
    others_gap_s: float

    @property
    def sound(self) -> bool:
        """Whether nothing is wrong with it."""
        undisturbed = self.others_invalid == 0 and self.others_gap_s < LONGEST_GAP_S
        return self.told and undisturbed


class SideBySide:
    """The running service and its wires."""

    def __init__(self, service: LiveService, wires: list[Wire]) -> None:
        self.service, self.wires = service, wires
        self._readings: list[Reading] = []
        self._number = 0

    def cut(self, wire: Wire) -> Cut:
        """Cut one wire, wait until that is told, mend it, wait until it is back (or fail)."""
        begun = self._last_s()
        words = self.service.said().count(wire.said)
        wire.cut()
        self.service.wait_for(
            lambda: any(v is None for at_s, v in self._of(wire.tank) if at_s > begun),
            f"the loss of {wire.name}",
        )
        told = self._told(wire, words)
        mended = self._last_s()
        wire.mend()
        self.service.wait_for(
            lambda: any(v is not None for at_s, v in self._of(wire.tank) if at_s > mended),
            f"the return of {wire.name}", 60.0,
        )  # fmt: skip
        return self._judged(wire, told, begun)

    def _told(self, wire: Wire, words: int) -> bool:
        """The log may come a moment later than the reading, and the loss after a silence."""
        end_s = time.monotonic() + 10.0
        while wire.said and self.service.said().count(wire.said) <= words:
            if time.monotonic() > end_s:
                return False
            time.sleep(0.02)
        return True

    def strays(self) -> list[tuple[str, float]]:
        """Values that are not those of their own wire."""
        return [
            (r.tank, r.value)
            for r in self._seen()
            if r.value is not None and r.tank in SHOWN and abs(r.value - SHOWN[r.tank]) > 0.01
        ]

    def _judged(self, wire: Wire, told: bool, begun: float) -> Cut:
        empty = [at_s for at_s, v in self._of(wire.tank) if at_s > begun and v is None]
        others = [tank for tank in ("t", *SHOWN) if tank != wire.tank]
        gaps, invalid = [], 0
        for tank in others:
            seen = [(at_s, v) for at_s, v in self._of(tank) if at_s > begun - 1.0]
            invalid += sum(v is None for at_s, v in seen if at_s > begun)
            times = [at_s for at_s, _ in seen] + [self._last_s()]
            gaps += [later_s - at_s for at_s, later_s in pairwise(times)]
        return Cut(wire.name, told, empty[-1] - empty[0], invalid, max(gaps))

    def _of(self, tank: str) -> list[tuple[float, float | None]]:
        return [(r.time_s, r.value) for r in self._seen() if r.tank == tank]

    def _last_s(self) -> float:
        """The time of the newest reading."""
        return max(r.time_s for r in self._seen())

    def _seen(self) -> list[Reading]:
        """All readings so far. Only what is new is read: the devices live in this process, and an
        hour's journal read each time would keep them from answering."""
        for entry in self.service.entries("reading", after=self._number):
            self._number = entry.seq
            if isinstance(entry.record, Reading):
                self._readings.append(entry.record)
        return self._readings


def showing(tank: str) -> Callable[[], Mapping[Quantity, float]]:
    """A device that says of itself which one it is."""
    return lambda: {"orp": SHOWN[tank], "ph": 7.2, "temperature": 25.0}


def _line(tank: str, port: str) -> str:
    text = _ORP.format(tank, EVERY_S) + f'driver = "line"\nport = "{port}"\n'
    return f"{text}request = \"R\\r\"\ntimeout_s = 1.5\npattern = '{PATTERN}'\n"


def _modbus(number: int) -> str:
    text = _ORP.format("modbus", EVERY_S)
    return text + (
        f'driver = "modbus"\nport = "tcp://{HOST}:{number}"\n'
        "device = 1\nregister = 0\nscale = 0.1\n"
    )


def _wireless(number: int) -> str:
    text = _ORP.format("wireless", EVERY_S) + 'driver = "mqtt"\nport = "mqtt"\n'
    text += f'topic = "{TOPIC}"\npath = "orp"\nmax_age_s = 3\n'
    return f'{text}[mqtt]\nhost = "127.0.0.1"\nport = {number}\n'


class Switched:
    """A wireless device that can be switched off."""

    def __init__(self, port: int) -> None:
        self._port = port
        self._device: BrokerDevice | None = None

    def on(self) -> None:
        self._device = BrokerDevice(self._port, TOPIC, showing("wireless"), 0.25)
        self._device.__enter__()

    def off(self) -> None:
        device, self._device = self._device, None
        if device is not None:
            device.__exit__()


@contextmanager
def side_by_side(folder: Path) -> Iterator[SideBySide]:
    """The service and all its wires, up to the first value of each."""
    with ExitStack() as stack:
        broker = Broker(folder / "broker")
        stack.enter_context(broker)
        bridge = stack.enter_context(Bridge(LineDevice(showing("bridge"))))
        set_bridge = stack.enter_context(Bridge(LineDevice(showing("set-bridge")), "rfc2217"))
        modbus = stack.enter_context(ModbusServer([round(10 * SHOWN["modbus"])]))
        wireless = Switched(broker.port)
        wireless.on()
        stack.callback(wireless.off)
        extra = _line("bridge", bridge.address) + _line("set-bridge", set_bridge.address)
        extra += _modbus(modbus.port) + _wireless(broker.port)
        service = stack.enter_context(
            LiveService(folder, every_s=EVERY_S, quantities=("orp",), extra=extra, **here())
        )

        def broker_off() -> None:
            wireless.off()
            broker.kill()

        def broker_on() -> None:
            broker.start()
            wireless.on()

        wires = [
            Wire("pseudo-terminal", "t", service.port.unplug, service.port.plug, "/probe was lost"),
            Wire("bridge", "bridge", bridge.unplug, bridge.plug, f"{bridge.address} was lost"),
            Wire(
                "bridge of RFC 2217", "set-bridge", set_bridge.unplug, set_bridge.plug,
                f"{set_bridge.address} was lost",
            ),
            Wire("Modbus TCP", "modbus", modbus.stop, modbus.start, f":{modbus.port} was lost"),
            Wire("wireless device", "wireless", wireless.off, wireless.on, ""),
            Wire("broker", "wireless", broker_off, broker_on, "port mqtt is away"),
        ]  # fmt: skip
        service.start()
        service.wait_for(
            lambda: (
                {r.tank for r in service.records("reading") if r.value is not None} == {"t", *SHOWN}
            ),
            "a value of each wire",
        )
        yield SideBySide(service, wires)
