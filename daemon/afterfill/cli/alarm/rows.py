"""One alarm of one tank as a row of a table, a JSON object or its full reasons."""

from dataclasses import dataclass
from typing import Any

from afterfill.alarms.definition import Definition
from afterfill.alarms.definitions import DEFINITIONS
from afterfill.alarms.lifecycle import STANDING_STATES
from afterfill.cli.alarm.states import STATES
from afterfill.cli.configured import loaded, reading_journal, tanks
from afterfill.cli.console import say, say_json, say_table
from afterfill.cli.latest import alarms, allowed_age_s
from afterfill.cli.options import Asked
from afterfill.cli.times import age, moment, present_s
from afterfill.config import Config
from afterfill.journal.newest import newest
from afterfill.journal.store import Journal
from afterfill.planning.shown import Shown
from afterfill.records import AlarmChange, Reading
from afterfill.service.liveness import liveness
from afterfill.tank_table import shown_in
from afterfill.wire import to_published

_REASONS = (
    "cause", "consequence", "time_to_respond", "action", "why_priority", "on_delay_s",
    "off_delay_s", "why_delays", "latches",
)  # fmt: skip


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
        """The state in the standard's words, or that it is not known."""
        if self.change is not None:
            return self.change.state
        return "normal" if self.read else "unknown"

    def cells(self, shown: Shown) -> tuple[str, ...]:
        """Tank, alarm, priority, state, since, message."""
        change = self.change
        since = "" if change is None else moment(change.time_s, present_s())
        message = "" if change is None else shown.text(change.message)
        name, priority = self.definition.name, self.definition.priority
        state = self.state if change is None else STATES[change.state]
        if change is not None and change.state == "normal":
            state = "normal"  # of all, also of those that never stood
        return (self.tank, name, priority, state + self._remark(), since, message)

    def _remark(self) -> str:
        change = self.change
        if change is None:
            return ""
        latched = change.state == "unacknowledged" and not change.active
        remarks = {
            "condition holds": change.active,
            "condition over, latched": latched,
            "cannot be judged": not change.known,
            "came first": change.first_out and change.state in STANDING_STATES,
        }
        said = ", ".join(remark for remark, holds in remarks.items() if holds)
        return f" ({said})" if said else ""

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
                "known": self.read,
                "first_out": False,
            }
        keys = _REASONS if why else ()
        reasons = {key: getattr(self.definition, key) for key in keys}
        return {**wire, **reasons, "note": self.note or None}

    def reasons(self) -> str:
        """Why the alarm exists and what to do."""
        it = self.definition
        latch = f"\n  latches: {it.latches}" if it.latches else ""
        return (
            f"{it.name} ({it.priority}: {it.why_priority})\n  cause: {it.cause}\n"
            f"  consequence: {it.consequence}\n  time to respond: {it.time_to_respond}\n"
            f"  action: {it.action}\n  delays: {it.on_delay_s:g} s on, {it.off_delay_s:g} s off; "
            f"{it.why_delays}{latch}"
        )


def rows_of(journal: Journal, config: Config, tank: str) -> list[AlarmRow]:
    """All alarms of a tank."""
    last = alarms(journal, tank, DEFINITIONS)
    last_read, live = newest(journal, Reading, tank), liveness(journal.path)
    note = ""
    if last_read is None:
        note = f"tank {tank}: nothing has been read yet"
    elif live.runs is False or live.age_s(last_read.stamp) > allowed_age_s(config):
        why = "the service is not running" if live.runs is False else "the service does not read"
        note = f"tank {tank}: states are as of {age(live.age_s(last_read.stamp))} ago: {why}"
    return [
        AlarmRow(tank, definition, last.get(name), last_read is not None, note)
        for name, definition in DEFINITIONS.items()
        if definition.group != "machine" or tank == next(iter(config.tank))
    ]


def listed(asked: Asked, *, why: bool) -> None:
    """Print the alarms of a tank or all, with `why` also the reasons of each."""
    settings = loaded(asked.config)
    wanted = tanks(settings, asked.tank)
    with reading_journal(settings.journal.path) as journal:
        rows = [row for name in wanted for row in rows_of(journal, settings, name)]
    if asked.as_json:
        for row in rows:
            say_json(row.wire(why=why))
        return
    headers = ("tank", "alarm", "priority", "state", "since", "message")
    say_table(headers, [row.cells(shown_in(settings.units)) for row in rows])
    for note in dict.fromkeys(row.note for row in rows if row.note):
        say(note)
    if why:
        for row in {row.definition.name: row for row in rows}.values():
            say("")
            for line in row.reasons().splitlines():
                say(line)
