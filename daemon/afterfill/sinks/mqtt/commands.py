"""Commands from the broker: checked, left in the journal's inbox, answered.

A command comes from a network: its size and depth are bounded, its types checked, its time is
ours. One that the broker kept is refused, since its age is not known.
"""

import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

from afterfill.config import Commands, Config
from afterfill.errors import AfterfillError, PayloadError
from afterfill.journal.store import Journal
from afterfill.journal.understood import SURE, insisted, understood
from afterfill.payloads import ALARM_ACTIONS, alarm_command_from
from afterfill.records import Event, Stamp
from afterfill.sentences import nearest

MAX_BYTES = 4096  # the longest sensible command has about 200
_MAX_TOPIC = 200  # characters; our longest has about 60
_MAX_SAID = 300  # characters of an answer's sentence, which may quote what came


@dataclass(frozen=True, slots=True)
class Command:
    """A message as it came: topic below the base, payload, and whether it was a kept one."""

    topic: str
    payload: bytes
    retained: bool
    repeated: bool = False  # the broker says that it may have come before


def is_allowed(commands: Commands, path: str) -> bool:
    """Whether [mqtt] commands lets a command through; `path` is its topic below the tank."""
    return commands == "all" or (commands == "log" and path.startswith("log/"))


def subscriptions(base: str, commands: Commands = "all") -> list[str]:
    """The topic filters under which commands arrive. Those on alarms are listened to, so that they
    are answered, unless no command is taken at all."""
    if commands == "none":
        return []
    return [f"{base}/+/log/+", *(f"{base}/+/alarm/+/{action}" for action in ALARM_ACTIONS)]


def deserves_answer(topic: str) -> bool:
    """Whether the topic below the base can be a slip; one so long is passed over in silence."""
    return len(topic) <= _MAX_TOPIC


def obey(
    command: Command,
    *,
    config: Config,
    alarms: Collection[str],
    journal: Journal,
    stamp: Stamp,
) -> tuple[str, dict[str, object]]:
    """Leave the command in the inbox; returns the tank to answer on, and the answer."""
    tank, _, what = command.topic.partition("/")
    try:
        _check_envelope(command, tank, config.tank)
        _check_allowed(config, what)
        area, _, rest = what.partition("/")
        if area == "log":
            event = _word(rest, _payload(command), tank, config, journal, stamp)
        else:
            event = _alarm_command(rest, _payload(command), tank, alarms, stamp)
        inbox_id = journal.submit(event, stamp)
    except AfterfillError as error:
        sentence = str(error)
        if len(sentence) > _MAX_SAID:
            sentence = f"{sentence[: _MAX_SAID - 3]}..."
        return tank, {"ok": False, "command": what, "error": sentence}
    return tank, {"ok": True, "command": what, "number": inbox_id}


def _check_envelope(command: Command, tank: str, tanks: Collection[str]) -> None:
    if command.retained:
        raise PayloadError(
            "a retained command is not obeyed, since its age is not known; send it again "
            "with the retain flag off, and clear the topic with an empty retained message"
        )
    if command.repeated:
        raise PayloadError(
            "a command delivered a second time is not obeyed again; send another if it is meant so"
        )
    if len(command.payload) > MAX_BYTES:
        raise PayloadError(f"the payload has more than {MAX_BYTES} bytes, which no command needs")
    if tank not in tanks:
        raise PayloadError(f"there is no tank '{tank}'; {nearest(tank, tanks)}")


def _check_allowed(config: Config, what: str) -> None:
    allowed: Commands = "all" if config.mqtt is None else config.mqtt.commands
    if not is_allowed(allowed, what):
        raise PayloadError(
            f"'{what}' is not obeyed here, since [mqtt] commands is '{allowed}'; do it with "
            "`afterfill` on the machine of the service, or set commands to 'all'"
        )


def _payload(command: Command) -> Mapping[str, Any]:
    if not command.payload.strip():
        return {}
    try:
        payload = json.loads(command.payload, parse_int=_number)
    except (ValueError, RecursionError) as error:
        raise PayloadError(f"the payload is not JSON ({error})") from error
    if not isinstance(payload, dict):
        raise PayloadError('the payload must be a JSON object such as {"litres": 25}')
    return payload


def _number(digits: str) -> int | float:
    """A whole number; one too long to be exact as a float becomes a float, perhaps infinity."""
    return int(digits) if len(digits) < 16 else float(digits)


def _word(
    kind: str,
    payload: Mapping[str, Any],
    tank: str,
    config: Config,
    journal: Journal,
    stamp: Stamp,
) -> Event:
    payload, sure = insisted(payload)
    it = understood(kind, payload, tank=tank, config=config, journal=journal, time_s=stamp.time_s)
    if it.doubt and not sure:
        raise PayloadError(f'{it.doubt}; if it is meant so, send it with "{SURE}": true')
    return it.event


def _alarm_command(
    rest: str, payload: Mapping[str, Any], tank: str, alarms: Collection[str], stamp: Stamp
) -> Event:
    alarm, _, word = rest.partition("/")
    if alarm not in alarms:
        raise PayloadError(f"there is no alarm '{alarm}'; {nearest(alarm, alarms)}")
    action = next((known for known in ALARM_ACTIONS if known == word), None)
    if action is None:
        raise PayloadError(f"'{word}' is no command; {nearest(word, ALARM_ACTIONS)}")
    return alarm_command_from(action, payload, tank=tank, alarm=alarm, time_s=stamp.time_s)
