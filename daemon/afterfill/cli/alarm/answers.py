"""`afterfill alarm NAME`'s answer, printed."""

from typing import Any

from afterfill.cli.alarm.answer import answer
from afterfill.cli.configured import loaded, one_tank
from afterfill.cli.console import tell
from afterfill.cli.options import Asked
from afterfill.records import AlarmAction


def answered(action: AlarmAction, name: str, payload: dict[str, Any], asked: Asked) -> None:
    """Answer an alarm and say so. Raises as `answer`."""
    settings = loaded(asked.config)
    given = answer(action, name, payload, settings, one_tank(settings, asked.tank))
    tell(given.words(), given.wire(), as_json=asked.as_json)
