"""What a person tells of a tank is understood, checked and left for the service."""

import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import typer

from afterfill.cli.configured import loaded, one_tank, reading_journal
from afterfill.cli.console import say, tell
from afterfill.cli.log.commands import Correcting, Telling
from afterfill.cli.log.said_back import event_words, said_back
from afterfill.cli.submission import submitted
from afterfill.cli.times import past_from, present_s
from afterfill.config import Config
from afterfill.errors import UsageError
from afterfill.journal.store import Journal
from afterfill.journal.understood import understood
from afterfill.payloads import CORRECTION
from afterfill.plausible import unit_of
from afterfill.shown import shown
from afterfill.tank_table import shown_in
from afterfill.wire import rfc3339


def told(kind: str, payload: Mapping[str, Any], telling: Telling) -> None:
    """Leave it for the service and answer with what was understood.

    Raises PayloadError or UsageError for what cannot be, JournalError when it cannot be kept.
    """
    settings, now_s = loaded(telling.config), present_s()
    tank, time_s = one_tank(settings, telling.tank), past_from(telling.at, now_s)
    with _there(settings.journal.path) as journal:
        it = understood(
            kind, payload, tank=tank, config=settings, journal=journal, time_s=time_s,
            dated=telling.at is not None,
        )  # fmt: skip
    event = it.event
    said = said_back(event, settings, now_s)
    _ask(it.doubt, yes=telling.yes)
    left = submitted(settings.journal.path, event)
    tell(left.words(said), left.wire(), as_json=telling.as_json)


def corrected(number: int, options: Mapping[str, Any], correcting: Correcting) -> None:
    """Leave a correction of entry `number` for the service. Raises as `told` does."""
    settings, now_s = loaded(correcting.config), present_s()
    payload: dict[str, Any] = {k: v for k, v in options.items() if v not in (None, False)}
    unknown = payload.pop("not_known", ())
    payload |= dict.fromkeys(_key_of(name, options) for name in unknown)
    if correcting.at is not None:
        payload["time"] = rfc3339(past_from(correcting.at, now_s))
    with reading_journal(settings.journal.path) as journal:
        tank = _tank_of(journal, settings, number, correcting.tank)
        it = understood(
            CORRECTION, {"of": number, **payload}, tank=tank, config=settings, journal=journal,
            time_s=now_s,
        )  # fmt: skip
    said = event_words(it.event, unit_of(settings, tank), shown_in(settings.units))
    _ask(it.doubt, yes=correcting.yes)
    left = submitted(settings.journal.path, it.event)
    words = [*left.words(f"corrected for tank {tank}: {said}")]
    if left.running:
        words.append("All since then is judged again now: seconds of work for a day.")
    tell(words, left.wire(), as_json=correcting.as_json)


def _key_of(option: str, options: Mapping[str, Any]) -> str:
    """The key of an option that is named without its dashes: ``total-chlorine``."""
    key = option.removeprefix("--").replace("-", "_")
    return f"{key}_mg_l" if f"{key}_mg_l" in options else key


@contextmanager
def _there(path: Path) -> Iterator[Journal | None]:
    """The journal to be read; None where there is none yet."""
    if not path.exists():
        yield None
        return
    with reading_journal(path) as journal:
        yield journal


def _tank_of(journal: Journal, config: Config, number: int, named: str | None) -> str:
    """The tank that is named, or whose entry this is."""
    if named is None and len(config.tank) > 1:
        entries = journal.entries(number - 1, until=number, limit=1)
        theirs = [e.record.tank for e in entries if e.record.tank in config.tank]
        return theirs[0] if theirs else next(iter(config.tank))  # which lacks it too
    return one_tank(config, named)


def is_asked() -> bool:
    """Whether a person sits at a terminal."""
    return sys.stdin.isatty()


def _ask(doubt: str, *, yes: bool) -> None:
    """Where something is strange, take it only if it is meant so."""
    if not doubt or yes:
        return
    if not is_asked():
        raise UsageError(f"{doubt}; if it is meant so, say --yes")
    if not typer.confirm(shown(f"{doubt}. Is it meant so?")):
        say("Nothing was logged.")
        raise typer.Exit(2)
