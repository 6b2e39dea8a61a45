"""What a person tells of a tank is understood, checked and left for the service."""

from collections.abc import Mapping
from typing import Any

from afterfill.cli.configured import loaded, one_tank
from afterfill.cli.console import tell
from afterfill.cli.log.commands import Telling
from afterfill.cli.submission import submitted
from afterfill.cli.times import moment, past_from, present_s
from afterfill.payloads import event_from
from afterfill.plausible import refuse_slips
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


def told(kind: str, payload: Mapping[str, Any], telling: Telling) -> None:
    """Leave it for the service and answer with what was understood.

    Raises PayloadError or UsageError for what cannot be, JournalError when it cannot be kept.
    """
    settings, now_s = loaded(telling.config), present_s()
    tank, time_s = one_tank(settings, telling.tank), past_from(telling.at, now_s)
    event = event_from(kind, payload, tank=tank, time_s=time_s)
    refuse_slips(event, settings)
    left = submitted(settings.journal.path, event)
    said = f"logged for tank {event.tank}, {moment(event.time_s, now_s)}: {_words(event)}"
    tell(left.words(said), left.wire(), as_json=telling.as_json)


def _words(event: Event) -> str:
    """What was understood, so that a slip is seen at once."""
    match event:
        case Refill():
            return _refill_words(event)
        case KitResult():
            values = {
                "total ammonia": event.total_ammonia_mg_l,
                "total chlorine": event.total_chlorine_mg_l,
                "free chlorine": event.free_chlorine_mg_l,
            }
            parts = [f"{name} {v:g} mg/L" for name, v in values.items() if v is not None]
            return "kit: " + ", ".join(parts + ([] if event.ph is None else [f"pH {event.ph:g}"]))
        case SourceTest():
            values = {"total": event.total_chlorine_mg_l, "free": event.free_chlorine_mg_l}
            shown = [f"{name} chlorine {v:g} mg/L" for name, v in values.items() if v is not None]
            return f"test of the source{_named(event.source)}: {', '.join(shown)}"
        case Dose():
            return f"dose of {event.neutraliser_ml:g} mL neutraliser"
        case Stock():
            much = "" if event.neutraliser_ml is None else f", {event.neutraliser_ml:g} mL"
            return f"stock: neutraliser{_named(event.neutraliser)} {event.what}{much}"
        case Service():
            return f"work: {event.what}"
        case ResponseCheck():
            return f"response of the ORP probe checked: a step of {event.step_mv:.0f} mV"
        case Calibration():
            return f"{event.quantity} probe calibrated"
        case _:
            return event.action


def _named(source: str | None) -> str:
    return "" if source is None else f" {source}"


def _refill_words(event: Refill) -> str:
    volume = "of unknown volume" if event.litres is None else f"of {event.litres:.4g} L"
    ml = event.neutraliser_ml
    if ml is None:
        treated = "neutraliser not known"
    else:
        treated = f"{ml:g} mL neutraliser" if ml else "no neutraliser"
    how = "drained and refilled" if event.mode == "replace" else "added to what was there"
    minutes = "" if event.minutes is None else f", {event.minutes:g} min"
    source = "" if event.source is None else f", from {event.source}"
    return f"refill {volume} ({how}{minutes}{source}), {treated}"
