"""A person's answer to an alarm, left for the service."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from afterfill.alarms.definitions import DEFINITIONS
from afterfill.cli.configured import named, reading_journal
from afterfill.cli.latest import alarms
from afterfill.cli.submission import Submitted, submitted
from afterfill.cli.times import present_s
from afterfill.config import Config
from afterfill.payloads import alarm_command_from
from afterfill.records import AlarmAction, AlarmCommand
from afterfill.wire import to_wire

_DONE: dict[AlarmAction, str] = {
    "acknowledge": "acknowledged",
    "shelve": "shelved",
    "unshelve": "unshelved",
    "out-of-service": "out of service",
    "return-to-service": "back in service",
}


@dataclass(frozen=True, slots=True)
class Answer:
    """What was answered to an alarm; `left` for the service, None where it would change nothing."""

    command: AlarmCommand
    said: str
    left: Submitted | None

    def words(self) -> Iterator[str]:
        """What was understood."""
        if self.left is None:
            yield self.said
        else:
            yield from self.left.words(self.said)

    def wire(self) -> dict[str, Any]:
        """The JSON object."""
        if self.left is None:
            return {**to_wire(self.command), "done": False, "answer": self.said}
        return self.left.wire()


def answer(
    action: AlarmAction, name: str, payload: dict[str, Any], config: Config, tank: str
) -> Answer:
    """Leave the answer for the service, unless it changes nothing.

    Raises UsageError or PayloadError for what cannot be, JournalError when it cannot be kept.
    """
    path, alarm = config.journal.path, named(name, DEFINITIONS, "alarm")
    command = alarm_command_from(action, payload, tank=tank, alarm=alarm, time_s=present_s())
    with reading_journal(path) as journal:
        last = alarms(journal, tank, [alarm]).get(alarm)
    head = f"alarm {alarm} of tank {tank}"
    idle = _nothing_to_do(action, "normal" if last is None else last.state)
    if idle:
        return Answer(command, f"{head} {idle}", None)
    span = f" for {command.minutes:g} min" if command.minutes is not None else ""
    return Answer(command, f"{head}: {_DONE[action]}{span}", submitted(path, command))


def _nothing_to_do(action: AlarmAction, state: str) -> str:
    """Why a command would change nothing on an alarm in this state; empty when it would."""
    if action == "acknowledge" and state == "normal":
        return "is normal: there is nothing to acknowledge"
    if action == "unshelve" and state != "shelved":
        return f"is {state}: it is not shelved"
    if action == "return-to-service" and state != "out-of-service":
        return f"is {state}: it is in service"
    return ""
