"""Commands on tanks that this service does not have: another service's, or a slip of the name.

All services of a base hear all its commands. A tank that any of them watches has a kept status on
the broker; so before a tank is called unknown, its status is asked for. Another one's tank is
passed over in silence: its own service answers, and what is said of it wears out no patience here.
"""

from dataclasses import dataclass, field

from afterfill.sinks.mqtt.commands import Command
from afterfill.sinks.mqtt.connection import Connection
from afterfill.sinks.mqtt.messages import STALE_AFTER_S, tank_status_topic

SETTLES_S = 2.0  # by then a broker has said what it keeps
_MOST = 100  # tanks asked for at once; what is beyond is not answered
_BELIEVED_S = STALE_AFTER_S  # then its status is asked for again: tanks move house


@dataclass
class Elsewhere:
    """Of one connection. Times are monotonic seconds."""

    base: str
    connection: Connection
    _known_s: dict[str, float] = field(default_factory=dict)  # of others, and when that was seen
    _asked: dict[str, tuple[float, Command]] = field(default_factory=dict)

    def begin(self) -> None:
        """A connection begins: all may be different."""
        self._known_s, self._asked = {}, {}

    def command(self, tank: str, command: Command, now_s: float) -> None:
        """A command came on a tank that is not ours."""
        if now_s - self._known_s.get(tank, -_BELIEVED_S) < _BELIEVED_S:
            return
        if tank not in self._asked and len(self._asked) < _MOST:
            self._asked[tank] = now_s, command
            self.connection.subscribe([tank_status_topic(self.base, tank)])

    def hears(self, topic: str, payload: bytes, now_s: float) -> bool:
        """Whether a message is the status of a tank that was asked for."""
        tank = topic.removeprefix(f"{self.base}/").removesuffix("/status")
        if topic != tank_status_topic(self.base, tank):
            return False
        if payload and self._asked.pop(tank, None) is not None:
            self._known_s[tank] = now_s
            self.connection.unsubscribe([topic])
        return True

    def unknown(self, now_s: float) -> list[Command]:
        """Commands on tanks that turned out to have no service."""
        slips = [tank for tank, (at_s, _) in self._asked.items() if now_s - at_s >= SETTLES_S]
        if slips:
            self.connection.unsubscribe([tank_status_topic(self.base, tank) for tank in slips])
        return [self._asked.pop(tank)[1] for tank in slips]
