"""What the service recorded of a port's probes, and whether it holds the port."""

import math
from pathlib import Path

from afterfill.cli.console import notice
from afterfill.cli.latest import allowed_age_s, readings
from afterfill.config import Config
from afterfill.errors import DeviceUnavailable, JournalError
from afterfill.journal.newest import Newest
from afterfill.journal.store import Journal
from afterfill.planning.shown import Shown
from afterfill.records import UNITS, Reading
from afterfill.service.driver_registry import PortPlan
from afterfill.service.liveness import liveness


def value_words(reading: Reading, shown: Shown) -> str:
    """``412.3 mV``, ``pH 7.21``, ``24.81 °C``, or why there is no value, with the raw bytes."""
    if reading.value is None:
        return f"no usable reading: {reading.invalid}{_raw_words(reading.raw)}"
    if reading.quantity == "ph":
        return f"pH {reading.value:.2f}"
    if reading.quantity == "temperature" and shown.fahrenheit:
        return shown.temperature(reading.value)
    digits = 1 if reading.quantity == "orp" else 2
    return f"{reading.value:.{digits}f} {UNITS[reading.quantity]}"


def _raw_words(raw: str) -> str:
    """What came, as the text it is, or byte by byte where it is none."""
    text = bytes.fromhex(raw).decode("latin-1").strip(" \t\r\n\0")
    if text and text.isascii() and text.isprintable():
        return f' ("{text}")'
    return f" (raw bytes {raw})" if raw else ""


def last_readings(journal_path: Path, plan: PortPlan) -> dict[str, Newest[Reading]]:
    """The newest recorded reading of each probe of a port, by name; none without a journal."""
    if not journal_path.exists():
        return {}
    found: dict[str, Newest[Reading]] = {}
    with Journal.open(journal_path, read_only=True) as journal:
        for name, tank in plan.tank.items():
            found |= readings(journal, tank, [name])
    return found


def held_by_service(error: DeviceUnavailable, config: Config, plan: PortPlan) -> bool:
    """Whether the port could not be opened because the running service reads it: it is held by
    another program, and the journal has fresh answers of its probes."""
    return "held by another program" in str(error) and read_by_service(config, plan)


def tell_of_waiting(plan: PortPlan) -> None:
    """Say why it takes a while: who publishes does so when it will."""
    if plan.feed is not None:
        notice("waiting for the next message of each device on the broker")


def read_by_service(config: Config, plan: PortPlan) -> bool:
    """Whether the service runs, and its journal has fresh answers of the port's probes."""
    try:
        found = last_readings(config.journal.path, plan)
    except JournalError:
        return False
    live = liveness(config.journal.path)
    ages_s = [live.age_s(k.stamp) for k in found.values() if k.record.invalid != "port-lost"]
    return live.runs is not False and min(ages_s, default=math.inf) <= allowed_age_s(config)
