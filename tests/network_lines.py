"""Probes behind a bridge in the network, and a water that is another one at every look."""

import itertools
from typing import Any

import pytest

from afterfill.ports import ProbePort, Sample
from afterfill.records import Quantity
from afterfill.simulation.line_device import PATTERN, LineDevice
from afterfill.simulation.modbus_device import ModbusDevice
from afterfill.simulation.pty_port import Responder
from transcript_sessions import driver, specs

TIMEOUT_S = 0.1
KEYS: dict[str, dict[str, Any]] = {
    "line": {"request": "R\r", "pattern": PATTERN, "timeout_s": TIMEOUT_S},
    "modbus": {"device": 7, "register": 0, "scale": 0.1, "timeout_s": TIMEOUT_S},
}
PROTOCOLS = ["line", "modbus"]
SCHEMES = ["socket", "rfc2217"]
each_protocol = pytest.mark.parametrize("proto", PROTOCOLS)
each_scheme = pytest.mark.parametrize("scheme", SCHEMES)


class Water:
    """An ORP that is another one at every look, so that an old answer shows."""

    def __init__(self) -> None:
        self._numbers = itertools.cycle(range(1000))
        self.orp_mv = -1.0  # none yet

    def __call__(self) -> dict[Quantity, float]:
        self.orp_mv = float(next(self._numbers))
        return {"orp": self.orp_mv, "ph": 7.21, "temperature": 24.81}


def device_of(proto: str, water: Water) -> Responder:
    return LineDevice(water) if proto == "line" else ModbusDevice(7, water)


def port_at(address: str, proto: str, **further: object) -> ProbePort:
    table = {"name": "orp", "quantity": "orp", **KEYS[proto], **further}
    return driver(proto).port(address, specs(proto, [table]))


def stream_at(address: str) -> ProbePort:
    table = {"name": "orp", "quantity": "orp", "column": 1, "timeout_s": TIMEOUT_S}
    return driver("line").port(address, specs("line", [table]))


def one(port: ProbePort) -> Sample:
    (sample,) = port.read(["orp"])
    return sample
