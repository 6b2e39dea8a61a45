"""`afterfill log`: tell what was done to a tank. Works whether the service runs or not."""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from afterfill.cli.options import ConfigOption, JsonOption, TankOption, loaded, one_tank

if TYPE_CHECKING:
    from afterfill.config import Config
    from afterfill.records import Event, Refill

log = typer.Typer(
    help="Tell what was done to a tank: a refill, a test-kit result, a dose, work on it.",
    no_args_is_help=True,
)

AtOption = Annotated[
    str | None,
    typer.Option(
        "--at",
        help="When it began: 2026-03-01T07:30:00Z, 07:30 (today) or '20 min ago'. Default: now.",
    ),
]


@log.command()
def refill(
    litres: Annotated[
        str | None, typer.Option(help="New water: 25 (litres), '6 gal'. Left out: not known.")
    ] = None,
    minutes: Annotated[
        float | None, typer.Option(help="How long it ran, min. Left out: not known.")
    ] = None,
    neutraliser_ml: Annotated[
        float | None,
        typer.Option(help="Neutraliser given with it, mL; 0 for none. Left out: not known."),
    ] = None,
    mode: Annotated[
        str, typer.Option(help="replace (drained first) or add (a top-off onto what is there).")
    ] = "replace",
    source: Annotated[
        str | None, typer.Option(help="Which [source.ID] it came from; default: the tank's own.")
    ] = None,
    at: AtOption = None,
    tank: TankOption = None,
    config: ConfigOption = None,
    as_json: JsonOption = False,
) -> None:
    """Water was (or is being) poured. Best told when it begins."""
    settings, journal_path = loaded(config)
    payload = {
        "mode": mode,
        "litres": litres,
        "minutes": minutes,
        "neutraliser_ml": neutraliser_ml,
        "source": source,
    }
    _log(settings, journal_path, "refill", payload, tank, at, as_json)


@log.command()
def kit(
    total_ammonia: Annotated[
        float | None, typer.Option(help="Total ammonia, mg/L as N (NH3 plus NH4+).")
    ] = None,
    total_chlorine: Annotated[
        float | None, typer.Option(help="Total chlorine, mg/L as Cl2 (DPD total).")
    ] = None,
    free_chlorine: Annotated[
        float | None, typer.Option(help="Free chlorine, mg/L as Cl2 (DPD free).")
    ] = None,
    ph: Annotated[float | None, typer.Option("--ph", help="pH.")] = None,
    at: AtOption = None,
    tank: TankOption = None,
    config: ConfigOption = None,
    as_json: JsonOption = False,
) -> None:
    """A test kit was used on the tank's water. Any of the values may be left out."""
    settings, journal_path = loaded(config)
    payload = {
        "total_ammonia_mg_l": total_ammonia,
        "total_chlorine_mg_l": total_chlorine,
        "free_chlorine_mg_l": free_chlorine,
        "ph": ph,
    }
    _log(settings, journal_path, "kit", payload, tank, at, as_json)


@log.command()
def dose(
    neutraliser_ml: Annotated[float, typer.Option(help="Neutraliser put into the tank, mL.")],
    at: AtOption = None,
    tank: TankOption = None,
    config: ConfigOption = None,
    as_json: JsonOption = False,
) -> None:
    """Neutraliser was put into the tank itself, not into a refill's water."""
    settings, journal_path = loaded(config)
    payload = {"neutraliser_ml": neutraliser_ml}
    _log(settings, journal_path, "dose", payload, tank, at, as_json)


@log.command()
def service(
    what: Annotated[str, typer.Option(help="probe, feeding, cleaning or other.")],
    quantity: Annotated[
        str | None, typer.Option(help="Which probe: orp, ph or temperature. Left out: not said.")
    ] = None,
    minutes: Annotated[
        float | None,
        typer.Option(help="It is out of the tank from now on, so long at most; 0: it is back."),
    ] = None,
    at: AtOption = None,
    tank: TankOption = None,
    config: ConfigOption = None,
    as_json: JsonOption = False,
) -> None:
    """Work that moves the readings without any disinfectant: a probe cleaned, fish fed."""
    settings, journal_path = loaded(config)
    payload = {"what": what, "quantity": quantity, "minutes": minutes}
    _log(settings, journal_path, "service", payload, tank, at, as_json)


def _log(
    settings: "Config",
    journal_path: Path,
    kind: str,
    payload: Mapping[str, Any],
    tank: str | None,
    at: str | None,
    as_json: bool,
) -> None:
    from afterfill.cli.submission import submitted
    from afterfill.cli.times import moment, past_from, present_s
    from afterfill.payloads import event_from
    from afterfill.plausible import refuse_slips

    now_s = present_s()
    event = event_from(kind, payload, tank=one_tank(settings, tank), time_s=past_from(at, now_s))
    refuse_slips(event, settings)
    words = f"logged for tank {event.tank}, {moment(event.time_s, now_s)}: {_words(event)}"
    submitted(settings, journal_path, event, words, as_json=as_json)


def _words(event: "Event") -> str:
    """What was understood, so that a slip is seen at once."""
    from afterfill.records import Calibration, Dose, KitResult, Refill, ResponseCheck, Service

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
        case Dose():
            return f"dose of {event.neutraliser_ml:g} mL neutraliser"
        case Service():
            return f"work: {event.what}"
        case ResponseCheck():
            return f"response of the ORP probe checked: a step of {event.step_mv:.0f} mV"
        case Calibration():
            return f"{event.quantity} probe calibrated"
        case _:
            return event.action


def _refill_words(event: "Refill") -> str:
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
