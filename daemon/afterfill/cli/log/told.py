"""What a person tells of a tank is left for the service, and said back."""

from collections.abc import Mapping
from typing import Any

from afterfill.cli.configured import loaded, one_tank
from afterfill.cli.console import tell
from afterfill.cli.log.commands import Telling
from afterfill.cli.log.understood import said_back, understood
from afterfill.cli.submission import submitted
from afterfill.cli.times import past_from, present_s


def told(kind: str, payload: Mapping[str, Any], telling: Telling) -> None:
    """Leave it for the service and answer with what was understood.

    Raises PayloadError or UsageError for what cannot be, JournalError when it cannot be kept.
    """
    settings, now_s = loaded(telling.config), present_s()
    tank, time_s = one_tank(settings, telling.tank), past_from(telling.at, now_s)
    event = understood(kind, payload, settings, tank=tank, time_s=time_s)
    left = submitted(settings.journal.path, event)
    said = said_back(event, settings, now_s)
    tell(left.words(said), left.wire(), as_json=telling.as_json)
