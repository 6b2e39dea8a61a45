"""What becomes of the commands that arrive: obeyed, refused, passed over, and what is answered."""

import logging
from collections.abc import Callable

from afterfill.alarms.definitions import DEFINITIONS
from afterfill.config import Config
from afterfill.journal.store import Journal
from afterfill.records import Stamp
from afterfill.sinks.mqtt.commands import Command, deserves_answer, obey
from afterfill.sinks.mqtt.connection import Arrived, Connection
from afterfill.sinks.mqtt.elsewhere import Elsewhere
from afterfill.sinks.mqtt.flood import Allowance, flood_answer
from afterfill.sinks.mqtt.messages import Message, answer_message

_log = logging.getLogger(__name__)


class Obedience:
    """One session's, on the sink's thread. `config.mqtt` must be set."""

    def __init__(
        self, config: Config, journal: Journal, connection: Connection, now: Callable[[], Stamp]
    ) -> None:
        if config.mqtt is None:
            raise ValueError("Obedience needs the table [mqtt]")
        self._config, self._base = config, config.mqtt.base
        self._journal, self._connection, self._now = journal, connection, now
        self._allowance = Allowance(at_s=now().monotonic_s)
        self._elsewhere = Elsewhere(self._base, connection)

    def begin(self) -> None:
        """A connection begins."""
        self._elsewhere.begin()

    def has_patience(self) -> bool:
        """Whether one more message may be looked at; counted as refused if not."""
        return self._allowance.take(self._now().monotonic_s)

    def answers(self, message: Arrived) -> list[Message]:
        """What is to be answered now to a message that came."""
        now_s = self._now().monotonic_s
        if self._elsewhere.hears(message.topic, message.payload, now_s):
            return []
        topic = message.topic.removeprefix(f"{self._base}/")
        if not deserves_answer(topic):
            return []
        command = Command(topic, message.payload, message.retained, message.repeated)
        tank = topic.partition("/")[0]
        if tank in self._config.tank:
            return self._obeyed(command)
        self._elsewhere.command(tank, command, now_s)
        return []

    def due(self) -> list[Message]:
        """What is to be answered to commands of before: on tanks that no service has, and once for
        all of a flood that were not looked at."""
        slips = self._elsewhere.unknown(self._now().monotonic_s)
        return [answer for slip in slips for answer in self._obeyed(slip)] + self._flood()

    def _obeyed(self, command: Command) -> list[Message]:
        if not self.has_patience():
            return []
        tank, answer = obey(
            command,
            config=self._config,
            alarms=DEFINITIONS,
            journal=self._journal,
            stamp=self._now(),
        )
        return [answer_message(self._base, tank, answer)]

    def _flood(self) -> list[Message]:
        self._allowance.refused += self._connection.take_dropped()
        refused = self._allowance.to_tell(self._now().monotonic_s)
        if not refused:
            return []
        answer = flood_answer(refused)
        _log.warning("MQTT: %s", answer["error"])
        return [answer_message(self._base, tank, answer) for tank in self._config.tank]
