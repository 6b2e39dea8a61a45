"""A probe as a row of a table, and what the journal knows of it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from afterfill.cli.latest import allowed_age_s, health, readings, usable_readings
from afterfill.cli.times import age
from afterfill.config import Config
from afterfill.errors import DeviceUnavailable, JournalError
from afterfill.journal.newest import Newest
from afterfill.journal.store import Journal
from afterfill.records import UNITS, Health, Reading
from afterfill.service.driver_registry import PortPlan
from afterfill.service.liveness import liveness
from afterfill.wire import rfc3339


@dataclass(frozen=True, slots=True)
class ProbeRow:
    """`usable` is the last reading with a value, `newest` the last of any kind."""

    name: str
    plan: PortPlan
    usable: Reading | None
    usable_age_s: float | None
    newest: Reading | None
    health: Health | None

    @property
    def remark(self) -> str:
        """Why the newest reading has no value, in a word; empty when it has one."""
        if self.newest is None:
            return "never read"
        return "" if self.newest.value is not None else f"last answer: {self.newest.invalid}"

    def cells(self) -> tuple[str, ...]:
        """Probe, driver, port, interval, last value, age, errors, remark."""
        value, old = "none", ""
        if self.usable is not None and self.usable_age_s is not None:
            value, old = value_words(self.usable), age(self.usable_age_s)
        errors = "" if self.health is None else str(self.health.errors)
        every = f"{self.plan.every_s[self.name]:g} s"
        return (
            self.name, self.plan.driver, self.plan.device, every, value, old, errors, self.remark
        )  # fmt: skip

    def wire(self) -> dict[str, Any]:
        """The row as a JSON object; `errors` counts since the service started."""
        usable = self.usable
        return {
            "kind": "probe",
            "tank": self.plan.tank[self.name],
            "probe": self.name,
            "quantity": self.plan.quantity[self.name],
            "driver": self.plan.driver,
            "port": self.plan.device,
            "every_s": self.plan.every_s[self.name],
            "value": None if usable is None else usable.value,
            "time": None if usable is None else rfc3339(usable.time_s),
            "age_s": None if self.usable_age_s is None else round(self.usable_age_s, 1),
            "errors": None if self.health is None else self.health.errors,
            "invalid": None if self.newest is None else self.newest.invalid,
        }


def rows_of(plans: Sequence[PortPlan], journal: Journal | None) -> list[ProbeRow]:
    """A row for each probe; without a journal nothing is known of them."""
    return [_row(plan, name, journal) for plan in plans for name in plan.quantity]


def _row(plan: PortPlan, name: str, journal: Journal | None) -> ProbeRow:
    if journal is None:
        return ProbeRow(name, plan, None, None, None, None)
    tank, component = plan.tank[name], f"probe {name}"
    usable = usable_readings(journal, tank, [name]).get(name)
    newest = readings(journal, tank, [name]).get(name)
    return ProbeRow(
        name,
        plan,
        None if usable is None else usable.record,
        None if usable is None else liveness(journal.path).age_s(usable.stamp),
        None if newest is None else newest.record,
        health(journal, tank, [component]).get(component),
    )


def value_words(reading: Reading) -> str:
    """``412.3 mV``, ``pH 7.21``, ``24.81 °C``, or why there is no value, with the raw bytes."""
    if reading.value is None:
        raw = f" (raw bytes {reading.raw})" if reading.raw else ""
        return f"no usable reading: {reading.invalid}{raw}"
    if reading.quantity == "ph":
        return f"pH {reading.value:.2f}"
    digits = 1 if reading.quantity == "orp" else 2
    return f"{reading.value:.{digits}f} {UNITS[reading.quantity]}"


def last_readings(journal_path: Path, plan: PortPlan) -> dict[str, Newest[Reading]]:
    """The newest recorded reading of each probe of a port, by name; none without a journal."""
    if not journal_path.exists():
        return {}
    found: dict[str, Newest[Reading]] = {}
    with Journal.open(journal_path, read_only=True) as journal:
        for name, tank in plan.tank.items():
            found |= readings(journal, tank, [name])
    return found


def held_by_service(
    error: DeviceUnavailable, config: Config, journal_path: Path, plan: PortPlan
) -> bool:
    """Whether the port could not be opened because the running service reads it: it is held by
    somebody, and the journal has fresh answers of its probes."""
    if "held by another program" not in str(error):
        return False
    try:
        found = last_readings(journal_path, plan)
    except JournalError:
        return False
    live = liveness(journal_path)
    ages_s = [live.age_s(k.stamp) for k in found.values() if k.record.invalid != "port-lost"]
    return live.runs is not False and min(ages_s, default=math.inf) <= allowed_age_s(config)
