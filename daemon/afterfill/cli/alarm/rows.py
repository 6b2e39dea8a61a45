"""One alarm of one tank as a row of a table, a JSON object or its full reasons."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from afterfill.alarms.definition import Definition
from afterfill.alarms.definitions import DEFINITIONS
from afterfill.alarms.lifecycle import STANDING_STATES
from afterfill.alarms.load import Load, load_of
from afterfill.cli.latest import alarms, allowed_age_s, newest_reading
from afterfill.cli.times import age, moment, present_s
from afterfill.config import Config
from afterfill.journal.store import Journal
from afterfill.records import AlarmAction, AlarmChange
from afterfill.service.liveness import liveness
from afterfill.wire import to_published

_REASONS = (
    "cause", "consequence", "time_to_respond", "action", "why_priority", "on_delay_s",
    "off_delay_s", "why_delays", "latches",
)  # fmt: skip
_DAY_S = 86400.0


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
        name, priority = self.definition.name, self.definition.priority
        return (self.tank, name, priority, self.state + self._remark(), since, message)

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
    newest, live = newest_reading(journal, tank), liveness(journal.path)
    note = ""
    if newest is None:
        note = f"tank {tank}: nothing has been read yet"
    elif live.runs is False or live.age_s(newest.stamp) > allowed_age_s(config):
        why = "the service is not running" if live.runs is False else "the service does not read"
        note = f"tank {tank}: states are as of {age(live.age_s(newest.stamp))} ago: {why}"
    return [
        AlarmRow(tank, definition, last.get(name), newest is not None, note)
        for name, definition in DEFINITIONS.items()
        if definition.group != "machine" or tank == next(iter(config.tank))
    ]


def nothing_to_do(action: AlarmAction, state: str) -> str:
    """Why a command would change nothing on an alarm in this state; empty when it would."""
    if action == "acknowledge" and state == "normal":
        return "is normal: there is nothing to acknowledge"
    if action == "unshelve" and state != "shelved":
        return f"is {state}: it is not shelved"
    if action == "return-to-service" and state != "out-of-service":
        return f"is {state}: it is in service"
    return ""


def loads(journal: Journal, tanks: Iterable[str], days: float) -> dict[str, Load]:
    """The load of each tank's alarms over the last days."""
    now_s = present_s()
    from_s = now_s - days * _DAY_S
    found = {}
    for tank in tanks:  # what already held then began at most so long before
        entries = journal.between(tank, max(from_s - 30 * _DAY_S, 0.0), now_s, kinds=("alarm",))
        changes = (e.record for e in entries if isinstance(e.record, AlarmChange))
        found[tank] = load_of(changes, from_s, now_s)
    return found


def load_rows(found: dict[str, Load]) -> list[tuple[str, ...]]:
    """The figures as a table: a row each, a column for each tank."""
    figures = [_figures(load) for load in found.values()]
    return [(name, *(column[name] for column in figures)) for name in figures[0]]


def _figures(load: Load) -> dict[str, str]:
    total = max(load.raised, 1)
    shares = [f"{p} {n} ({100 * n / total:.0f} %)" for p, n in load.by_priority.items()]
    most = sorted(load.by_alarm.items(), key=lambda item: -item[1])[:5]
    return {
        "raised": f"{load.raised} in {load.days:g} days",
        "a day": f"{load.per_day:.2g}",
        "most in ten minutes": str(load.peak_ten_minutes),
        "by priority": ", ".join(shares),
        "most often": ", ".join(f"{name} {count}" for name, count in most) or "none",
        "standing now": ", ".join(load.standing) or "none",
        "standing over a day": ", ".join(load.stale) or "none",
        "chattering": ", ".join(load.chattering) or "none",
    }
