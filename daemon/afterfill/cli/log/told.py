"""What a person tells of a tank is understood, checked and left for the service."""

import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import typer

from afterfill.chemistry.doses import DoseUnit, dose_words
from afterfill.cli.configured import loaded, one_tank, reading_journal
from afterfill.cli.console import say, tell
from afterfill.cli.log.commands import Correcting, Telling
from afterfill.cli.submission import submitted
from afterfill.cli.times import moment, past_from, present_s
from afterfill.config import Config
from afterfill.errors import UsageError
from afterfill.journal.store import Journal
from afterfill.journal.understood import understood
from afterfill.payloads import CORRECTION
from afterfill.planning.shown import Shown
from afterfill.plausible import unit_of
from afterfill.records import (
    Calibration,
    Correction,
    Dose,
    Event,
    KitResult,
    Note,
    Refill,
    ResponseCheck,
    Service,
    SourceTest,
    Stock,
)
from afterfill.shown import shown
from afterfill.tank_setup import shown_in
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
    words = event_words(event, unit_of(settings, tank), shown_in(settings.units))
    said = f"logged for tank {event.tank}, {moment(event.time_s, now_s)}: {words}"
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


def event_words(event: Event, unit: DoseUnit, shown: Shown) -> str:
    """What was understood, so that a slip is seen at once."""
    match event:
        case Refill():
            return _refill_words(event, unit, shown)
        case KitResult():
            ph = [] if event.ph is None else [f"pH {event.ph:g}"]
            ammonia = _shown("total ammonia", event.total_ammonia_mg_l, "N")
            return "kit: " + ", ".join([*ammonia, *_chlorine(event), *ph])
        case SourceTest():
            return f"test of the source{_named(event.source)}: {', '.join(_chlorine(event))}"
        case Dose():
            return f"dose of {dose_words(event.neutraliser_ml, unit)} neutraliser"
        case Stock():
            much = (
                ""
                if event.neutraliser_ml is None
                else f", {dose_words(event.neutraliser_ml, unit)}"
            )
            return f"stock: neutraliser{_named(event.neutraliser)} {event.what}{much}"
        case Service():
            return f"work: {event.what}"
        case ResponseCheck():
            return f"response of the ORP probe checked: a step of {event.step_mv:.0f} mV"
        case Calibration():
            return f"{event.quantity} probe calibrated"
        case Note():
            return f"note: {event.text}"
        case Correction():
            if event.word is None:
                return f"entry {event.of} is taken back"
            return f"instead of entry {event.of}: {event_words(event.word, unit, shown)}"
        case _:
            return event.action


def _chlorine(test: KitResult | SourceTest) -> list[str]:
    total = _shown("total chlorine", test.total_chlorine_mg_l, "Cl2")
    return total + _shown("free chlorine", test.free_chlorine_mg_l, "Cl2")


def _shown(name: str, mg_l: float | None, counted_as: str) -> list[str]:
    return [] if mg_l is None else [f"{name} {mg_l:.4g} mg/L as {counted_as}"]


def _named(source: str | None) -> str:
    return "" if source is None else f" {source}"


def _refill_words(event: Refill, unit: DoseUnit, shown: Shown) -> str:
    volume = "of unknown volume" if event.litres is None else shown.text(f"of {event.litres:.4g} L")
    ml = event.neutraliser_ml
    if ml is None:
        treated = "neutraliser not known"
    else:
        treated = f"{dose_words(ml, unit)} neutraliser" if ml else "no neutraliser"
    how = "drained and refilled" if event.mode == "replace" else "added to what was there"
    minutes = "" if event.minutes is None else f", {event.minutes:g} min"
    source = "" if event.source is None else f", from {event.source}"
    return f"refill {volume} ({how}{minutes}{source}), {treated}"
