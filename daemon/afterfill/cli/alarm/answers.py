"""A person's answer to an alarm, left for the service."""

from typing import Any

from afterfill.alarms.definitions import DEFINITIONS
from afterfill.cli.configured import loaded, named, one_tank, reading_journal
from afterfill.cli.console import tell
from afterfill.cli.latest import alarms
from afterfill.cli.options import Asked
from afterfill.cli.submission import submitted
from afterfill.cli.times import present_s
from afterfill.payloads import alarm_command_from
from afterfill.records import AlarmAction
from afterfill.wire import to_wire

_DONE: dict[AlarmAction, str] = {
    "acknowledge": "acknowledged",
    "shelve": "shelved",
    "unshelve": "unshelved",
    "out-of-service": "out of service",
    "return-to-service": "back in service",
}


def answered(action: AlarmAction, name: str, payload: dict[str, Any], asked: Asked) -> None:
    """Leave the answer for the service, unless it changes nothing, and say so.

    Raises UsageError or PayloadError for what cannot be, JournalError when it cannot be kept.
    """
    settings = loaded(asked.config)
    path, alarm = settings.journal.path, named(name, DEFINITIONS, "alarm")
    command = alarm_command_from(
        action, payload, tank=one_tank(settings, asked.tank), alarm=alarm, time_s=present_s()
    )
    with reading_journal(path) as journal:
        last = alarms(journal, command.tank, [alarm]).get(alarm)
    head = f"alarm {alarm} of tank {command.tank}"
    idle = _nothing_to_do(action, "normal" if last is None else last.state)
    if idle:
        answer = f"{head} {idle}"
        wire = {**to_wire(command), "done": False, "answer": answer}
        tell([answer], wire, as_json=asked.as_json)
        return
    span = f" for {command.minutes:g} min" if command.minutes is not None else ""
    left = submitted(path, command)
    tell(left.words(f"{head}: {_DONE[action]}{span}"), left.wire(), as_json=asked.as_json)


def _nothing_to_do(action: AlarmAction, state: str) -> str:
    """Why a command would change nothing on an alarm in this state; empty when it would."""
    if action == "acknowledge" and state == "normal":
        return "is normal: there is nothing to acknowledge"
    if action == "unshelve" and state != "shelved":
        return f"is {state}: it is not shelved"
    if action == "return-to-service" and state != "out-of-service":
        return f"is {state}: it is in service"
    return ""
