"""One alarm of one tank as a row of a table, a JSON object or its full reasons."""

from dataclasses import dataclass
from typing import Any

from afterfill.alarms.definitions import DEFINITIONS, Definition
from afterfill.cli.latest import alarms, allowed_age_s, newest_reading
from afterfill.cli.times import age, moment, present_s
from afterfill.config import Config
from afterfill.journal.store import Journal
from afterfill.records import AlarmChange
from afterfill.wire import to_published


@dataclass(frozen=True, slots=True)
class AlarmRow:
    """`change` is the last transition, None when there never was one; `note` says why the row may
    be out of date, empty when it is not."""

    tank: str
    definition: Definition
    change: AlarmChange | None
    read: bool
    note: str

    @property
    def state(self) -> str:
        """The state in the standard's words, or that nobody knows."""
        if self.change is not None:
            return self.change.state
        return "normal" if self.read else "unknown"

    def cells(self) -> tuple[str, ...]:
        """Tank, alarm, priority, state, since, message."""
        change = self.change
        since = "" if change is None else moment(change.time_s, present_s())
        message = "" if change is None else change.message
        held = " (condition holds)" if change is not None and change.active else ""
        name, priority = self.definition.name, self.definition.priority
        return (self.tank, name, priority, self.state + held, since, message)

    def wire(self, *, why: bool) -> dict[str, Any]:
        """The row as a JSON object; `note` is null when the service runs."""
        if self.change is not None:
            wire = to_published(self.change)
        else:
            wire = {
                "kind": "alarm",
                "time": None,
                "tank": self.tank,
                "alarm": self.definition.name,
                "state": self.state,
                "priority": self.definition.priority,
                "active": False if self.read else None,
                "message": "",
            }
        keys = ("cause", "consequence", "time_to_respond", "action") if why else ()
        reasons = {key: getattr(self.definition, key) for key in keys}
        return {**wire, **reasons, "note": self.note or None}

    def reasons(self) -> str:
        """Why the alarm exists and what to do."""
        it = self.definition
        return (
            f"{it.name} ({it.priority})\n  cause: {it.cause}\n  consequence: {it.consequence}\n"
            f"  time to respond: {it.time_to_respond}\n  action: {it.action}"
        )


def rows_of(journal: Journal, config: Config, tank: str) -> list[AlarmRow]:
    """All alarms of a tank."""
    last = alarms(journal, tank, DEFINITIONS)
    newest = newest_reading(journal, tank)
    note = ""
    if newest is None:
        note = f"tank {tank}: nothing has been read yet"
    elif (old_s := present_s() - newest.time_s) > allowed_age_s(config):
        note = (
            f"tank {tank}: states are as of {age(old_s)} ago: the service is not running or not "
            "reading"
        )
    return [
        AlarmRow(tank, definition, last.get(name), newest is not None, note)
        for name, definition in DEFINITIONS.items()
    ]
