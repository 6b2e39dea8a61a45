"""The words and small parts that records are made of."""

from dataclasses import dataclass
from typing import Literal, NamedTuple

Quantity = Literal["orp", "ph", "temperature"]
QUANTITIES: tuple[Quantity, ...] = ("temperature", "ph", "orp")  # order of one reply's readings
UNITS: dict[Quantity, str] = {"orp": "mV", "ph": "pH", "temperature": "°C"}

InvalidReason = Literal[
    "no-answer",  # nothing came before the time-out
    "incomplete",  # part of a reply came
    "garbled",  # a reply that does not match the expected form
    "bad-checksum",  # a frame whose check value is wrong
    "error-reply",  # the probe answered that it cannot
    "echo",  # the line returned our own request
    "wrong-device",  # another device answered
    "out-of-range",  # a number no such probe can mean
    "power-up-value",  # the reset value of a chip, not a measurement
    "port-lost",  # the port is gone or cannot be opened
]

RefillMode = Literal["replace", "add"]  # drain and refill, or add to what is there
StockWhat = Literal["bought", "opened", "counted"]
ServiceWhat = Literal["probe", "feeding", "cleaning", "other", "lamp", "ozone", "medicine"]
OXIDISING: tuple[ServiceWhat, ...] = ("lamp", "ozone", "medicine")  # raise an ORP and are no refill
Disinfectant = Literal["chlorine", "chloramine", "unknown"]
SourceKind = Literal["tap", "filtered", "stored"]
VerdictWord = Literal["clear", "possible", "carried-over", "cannot-tell"]
StandingWord = Literal["safe", "not-safe", "cannot-tell", "learning"]
AlarmState = Literal[
    "normal",
    "unacknowledged",
    "acknowledged",
    "returned-to-normal-unacknowledged",
    "shelved",
    "suppressed-by-design",
    "out-of-service",
]
Priority = Literal["low", "medium", "high"]
AlarmAction = Literal["acknowledge", "shelve", "unshelve", "out-of-service", "return-to-service"]
MachineCondition = Literal[
    "delivery-stalled",
    "journal-failing",
    "journal-damaged",
    "storage-low",
    "clock-unsure",
    "power-low",
]


class Quantiles(NamedTuple):
    """5 %, 50 % and 95 % points of what is known about a quantity."""

    q05: float
    q50: float
    q95: float


@dataclass(frozen=True, slots=True)
class Stamp:
    """When something was accepted: wall time, whether the clock was synchronised, and the boot's
    own monotonic time, on which every interval is measured."""

    time_s: float
    synchronised: bool
    boot_id: str
    monotonic_s: float
