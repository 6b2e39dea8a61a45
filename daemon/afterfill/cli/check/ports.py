"""Checks of a port and the probes behind it: opened once, each probe read once."""

from collections.abc import Iterator

from afterfill.cli.check.finding import Finding
from afterfill.cli.recorded import (
    held_by_service,
    last_readings,
    read_by_service,
    tell_of_waiting,
    value_words,
)
from afterfill.cli.times import age, present_s
from afterfill.config import Config
from afterfill.errors import DeviceUnavailable
from afterfill.planning.shown import Shown
from afterfill.records import Reading
from afterfill.service.driver_registry import PortPlan
from afterfill.service.liveness import liveness
from afterfill.service.samples_once import readings_once
from afterfill.tank_table import shown_in

_ADVICE = {
    "no-answer": "look at cable and power, and at address, request or topic in its [[probe]] table",
    "incomplete": "look at baud and terminator in its [[probe]] table",
    "garbled": "look at baud and pattern, or path, in its [[probe]] table",
    "bad-checksum": "look at baud and parity, and at the line's wiring",
    "error-reply": "the probe says that it cannot; look at the register or request",
    "echo": "the line returns our own request; look at the adapter's echo setting and wiring",
    "wrong-device": "two devices share an address; give one another",
    "out-of-range": "look at scale and type, or unit, in its [[probe]] table",
    "power-up-value": "the sensor has only just got power; look at its supply",
    "port-lost": "look at its port",
}


def port_findings(plan: PortPlan, config: Config) -> Iterator[Finding]:
    """A finding for the port, and one for each of its probes."""
    subject = f"port {plan.device}"
    if plan.feed is not None and read_by_service(config, plan):  # no need to wait for a message
        yield Finding(subject, "ok", "read by the running service")
        yield from _recorded(plan, config)
        return
    tell_of_waiting(plan)
    try:
        readings = list(readings_once(plan, now=present_s))
    except DeviceUnavailable as error:
        if held_by_service(error, config, plan):
            yield Finding(subject, "ok", "held, it seems by the running service, which reads it")
            yield from _recorded(plan, config)
            return
        yield Finding(subject, "fault", str(error).removeprefix(f"{subject} "))
        for name in plan.quantity:
            yield Finding(f"probe {name}", "unknown", "its port could not be read")
        return
    yield Finding(subject, "ok", _opened(plan))
    for reading in readings:
        yield _probe(reading, shown_in(config.units))


def _opened(plan: PortPlan) -> str:
    """TCP has no lock: who else is connected from other machines cannot be seen from here."""
    if plan.feed is not None:
        return f"connected (driver {plan.driver})"
    if "://" in plan.device:
        return f"connected (driver {plan.driver}); let no other machine read there"
    return f"opened for us alone (driver {plan.driver})"


def _recorded(plan: PortPlan, config: Config) -> Iterator[Finding]:
    path, shown = config.journal.path, shown_in(config.units)
    found, live = last_readings(path, plan), liveness(path)
    for name in plan.quantity:
        if name in found:
            old_s = live.age_s(found[name].stamp)
            yield _probe(found[name].record, shown, f", recorded {age(old_s)} ago")
        else:
            yield Finding(f"probe {name}", "unknown", "the service has recorded nothing of it yet")


def _probe(reading: Reading, shown: Shown, remark: str = "") -> Finding:
    subject, words = f"probe {reading.probe}", value_words(reading, shown) + remark
    if reading.invalid is None:
        return Finding(subject, "ok", words)
    return Finding(subject, "fault", f"{words}; {_ADVICE[reading.invalid]}")
