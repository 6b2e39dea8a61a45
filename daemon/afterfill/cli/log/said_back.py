"""What a person told, said back so that a slip is seen at once."""

from afterfill.chemistry.doses import DoseUnit, dose_words
from afterfill.cli.times import moment
from afterfill.config import Config
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
from afterfill.tank_table import shown_in


def said_back(event: Event, config: Config, now_s: float) -> str:
    """What was understood, as a sentence; `now_s` [Unix s]."""
    words = event_words(event, unit_of(config, event.tank), shown_in(config.units))
    return f"logged for tank {event.tank}, {moment(event.time_s, now_s)}: {words}"


def event_words(event: Event, unit: DoseUnit, shown: Shown) -> str:
    """What was understood, in the units of a tank's neutraliser and of its keeper."""
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
