"""The few protocols that the shell plugs into: a probe driver, a feed of messages and a clock.

A driver turns one serial line (or one folder of kernel files) with its probes into samples. It
emits what was measured and nothing else: no cache, no gap filled, no value smoothed or derived.
Life of a port: made (settings already validated) -> `open` -> `read` ... -> `close`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol, runtime_checkable

from pydantic import BaseModel, JsonValue

from afterfill.records import InvalidReason, Quantity, Stamp

# What a probe of this kind can mean at all [mV, pH, degrees C]; common practice, no source.
POSSIBLE: dict[Quantity, tuple[float, float]] = {
    "orp": (-1500.0, 1500.0),
    "ph": (0.0, 14.0),
    "temperature": (-5.0, 60.0),
}


# Where the other side sets its serial line by itself: a key that is marked with SETS_LINE in the
# driver's settings means nothing there.
PLAIN_ADDRESSES = ("socket://", "tcp://")
SETS_LINE: dict[str, JsonValue] = {"sets_line": True}


@dataclass(frozen=True, slots=True)
class ProbeSpec:
    """One probe on a port: its name, what it measures, and the driver's own settings for it."""

    name: str
    quantity: Quantity
    settings: BaseModel


@dataclass(frozen=True, slots=True)
class Sample:
    """One answer of one probe: a value in the quantity's unit, or the reason why there is none."""

    probe: str
    value: float | None
    invalid: InvalidReason | None = None
    raw: bytes = b""


def sample_of(probe: ProbeSpec, value: float, raw: bytes) -> Sample:
    """A sample with `value`, or an out-of-range one when no such probe can mean that number."""
    low, high = POSSIBLE[probe.quantity]
    if low <= value <= high:  # also false for NaN
        return Sample(probe.name, value, None, raw)
    return Sample(probe.name, None, "out-of-range", raw)


class ProbePort(Protocol):
    """One port and the probes behind it, owned by one thread."""

    def open(self) -> None:
        """Connect. Raises DeviceUnavailable with the port's name and how to mend it."""

    def read(self, due: Sequence[str]) -> list[Sample]:
        """One sample for each probe named in `due`, in that order, within the settings' time-outs.

        A probe that speaks by itself and has nothing new to say yet may have none: it is asked
        again soon, and its silence is a sample in the end.
        A bad reply is a Sample with `invalid` and its raw bytes. Raises DeviceUnavailable when
        the port itself is lost.
        """

    def close(self) -> None:
        """Let go of the port. Safe after a failed open, and twice."""


class Driver(Protocol):
    """What the entry-point group `afterfill.drivers` names, one object per protocol."""

    @property
    def settings(self) -> type[BaseModel]:
        """The model of the driver's own keys in a [[probe]] table (extra keys forbidden)."""

    def port(self, device: str, probes: Sequence[ProbeSpec]) -> ProbePort:
        """A closed port on `device` (a path, or an address with ://) with these probes. Validates,
        never connects.

        Raises ConfigError when the probes cannot share the port (say, two baud rates).
        """


@dataclass(frozen=True, slots=True)
class Heard:
    """A message: `number` grows with each on its topic, `at_s` is the monotonic time at which it
    came here; `kept`: the broker had it from before, so that its age is not known."""

    payload: bytes
    number: int
    at_s: float
    kept: bool


class Feed(Protocol):
    """Messages of other programs on a broker: made -> `open` -> `newest` ... -> `close`."""

    def open(self, topics: Sequence[str]) -> None:
        """Connect and ask for these topics. Raises DeviceUnavailable."""

    def newest(self, topic: str) -> Heard | None:
        """The newest message since `open`; those before it are gone. Raises DeviceUnavailable when
        the broker is lost."""

    def close(self) -> None:
        """Leave. Safe after a failed open, and twice."""

    def is_ours(self, topic: str) -> bool:
        """Whether we publish there ourselves."""


@runtime_checkable
class FeedDriver(Driver, Protocol):
    """A driver whose probes are read from a broker; their `port` is FEED."""

    def feed_port(self, feed: Feed, probes: Sequence[ProbeSpec]) -> ProbePort:
        """A closed port on `feed`. Validates, never connects; raises ConfigError."""


FEED = "mqtt"  # how a [[probe]] table names the broker of [mqtt] as its port


class Clock(Protocol):
    """Time as the shell sees it: real, or a simulated one that tests and the demo drive."""

    def stamp(self) -> Stamp:
        """Now: wall time and its quality, boot id and monotonic time."""

    def monotonic_s(self) -> float:
        """Seconds on a clock that never jumps."""

    def wait(self, seconds: float) -> None:
        """Sleep at most `seconds` (>= 0); returns early when the service is stopping."""
