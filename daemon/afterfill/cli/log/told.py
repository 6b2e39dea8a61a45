"""What a person tells of a tank is understood, checked and left for the service."""

from collections.abc import Mapping
from typing import Any

from afterfill.chemistry.doses import DoseUnit, dose_words
from afterfill.cli.configured import loaded, one_tank
from afterfill.cli.console import tell
from afterfill.cli.log.commands import Telling
from afterfill.cli.submission import submitted
from afterfill.cli.times import moment, past_from, present_s
from afterfill.payloads import event_from
from afterfill.planning.shown import Shown
from afterfill.plausible import refuse_slips, unit_of, with_amounts_read
from afterfill.records import (
    Calibration,
    Dose,
    Event,
    KitResult,
    Refill,
    ResponseCheck,
    Service,
    SourceTest,
    Stock,
)
from afterfill.tank_table import shown_in


def told(kind: str, payload: Mapping[str, Any], telling: Telling) -> None:
    """Leave it for the service and answer with what was understood.

    Raises PayloadError or UsageError for what cannot be, JournalError when it cannot be kept.
    """
    settings, now_s = loaded(telling.config), present_s()
    tank, time_s = one_tank(settings, telling.tank), past_from(telling.at, now_s)
    event = event_from(kind, with_amounts_read(payload, tank, settings), tank=tank, time_s=time_s)
    refuse_slips(event, settings)
    left = submitted(settings.journal.path, event)
    words = _words(event, unit_of(settings, tank), shown_in(settings.units))
    said = f"logged for tank {event.tank}, {moment(event.time_s, now_s)}: {words}"
    tell(left.words(said), left.wire(), as_json=telling.as_json)


def _words(event: Event, unit: DoseUnit, shown: Shown) -> str:
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
