"""The state of every alarm, for a broker that keeps states: also of those that never changed."""

import json

from afterfill.alarms.definitions import DEFINITIONS
from afterfill.config import Config
from afterfill.journal.newest import newest_by
from afterfill.journal.store import Journal
from afterfill.record_kinds import words_of
from afterfill.records import AlarmChange
from afterfill.sinks.mqtt.discovery import alarms_of
from afterfill.sinks.mqtt.messages import Message, record_message
from afterfill.tank_table import shown_in

_ASKS = ("unacknowledged", "returned-to-normal-unacknowledged")


class AlarmStates:
    """The last change of each alarm. `read` what is in the journal, then `note` each change."""

    def __init__(self, config: Config) -> None:
        self._names = {tank: alarms_of(config, tank) for tank in config.tank}
        self._shown = shown_in(config.units)
        self._latest: dict[tuple[str, str], AlarmChange] = {}
        self._read_until: int | None = None

    def read(self, journal: Journal, until: int) -> None:
        """Catch up with the journal up to the entry `until`."""
        if self._read_until is None:
            for tank, names in self._names.items():
                newest = newest_by(journal, AlarmChange, tank, lambda c: c.alarm, names)
                for known in newest.values():
                    self.note(known.record)
        elif until > self._read_until:
            most = until - self._read_until
            kinds = words_of(lambda kind: kind.record_type is AlarmChange)
            for entry in journal.entries(self._read_until, until=until, kinds=kinds, limit=most):
                if isinstance(entry.record, AlarmChange):
                    self.note(entry.record)
        self._read_until = until

    def note(self, change: AlarmChange) -> None:
        """Remember `change` as the newest of its alarm."""
        self._latest[change.tank, change.alarm] = change

    def messages(self, base: str, tank: str, now_s: float) -> list[Message]:
        """The state of every alarm of `tank`, and what asks. One that never changed is normal:
        what cannot be judged is a change."""
        states = [self._state(tank, name, now_s) for name in self._names[tank]]
        found = [record_message(base, state, self._shown) for state in states]
        return [m for m in found if m is not None] + [self.summary(base, tank, now_s)]

    def summary(self, base: str, tank: str, now_s: float) -> Message:
        """Which alarms of `tank` ask for a person at `now_s` [Unix s], and which cannot be
        judged; the gravest first."""
        states = [self._state(tank, name, now_s) for name in self._names.get(tank, ())]
        asking = [state for state in states if state.state in _ASKS]
        said = {
            "asking": [state.alarm for state in asking],
            "priority": _highest([state.priority for state in asking]),
            "not_judged": [state.alarm for state in states if not state.known],
        }
        return Message(f"{base}/{tank}/alarms", json.dumps(said), retain=True)

    def _state(self, tank: str, name: str, now_s: float) -> AlarmChange:
        priority = DEFINITIONS[name].priority
        never = AlarmChange(now_s, tank, name, "normal", priority, active=False)
        return self._latest.get((tank, name), never)


def _highest(priorities: list[str]) -> str | None:
    return next((word for word in ("high", "medium", "low") if word in priorities), None)
