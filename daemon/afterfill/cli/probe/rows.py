"""A probe as a row of a table, and what the journal knows of it."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from afterfill.cli.configured import loaded, reading_journal
from afterfill.cli.console import notice, say_json, say_table
from afterfill.cli.latest import health, readings, usable_readings
from afterfill.cli.recorded import value_words
from afterfill.cli.times import age
from afterfill.errors import JournalError
from afterfill.journal.store import Journal
from afterfill.planning.shown import Shown
from afterfill.records import Health, Reading
from afterfill.service.driver_registry import PortPlan, ports_of
from afterfill.service.liveness import liveness
from afterfill.tank_table import shown_in
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

    def cells(self, shown: Shown) -> tuple[str, ...]:
        """Probe, driver, port, interval, last value, age, errors, remark."""
        value, old = "none", ""
        if self.usable is not None and self.usable_age_s is not None:
            value, old = value_words(self.usable, shown), age(self.usable_age_s)
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


def listed(config: Path | None, *, as_json: bool) -> None:
    """Print all probes; without a journal, with a remark, that nothing is known of them."""
    settings = loaded(config)
    plans = ports_of(settings)
    try:
        with reading_journal(settings.journal.path) as journal:
            rows = _rows_of(plans, journal)
    except JournalError as error:
        notice(str(error))
        rows = _rows_of(plans, None)
    if as_json:
        for row in rows:
            say_json(row.wire())
    else:
        headers = ("probe", "driver", "port", "every", "last value", "age", "errors", "remark")
        say_table(headers, [row.cells(shown_in(settings.units)) for row in rows])


def _rows_of(plans: Sequence[PortPlan], journal: Journal | None) -> list[ProbeRow]:
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
