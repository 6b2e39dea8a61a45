"""`afterfill log`: tell what was done to a tank. Works whether the service runs or not."""

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any

import typer

from afterfill.cli.options import ConfigOption, JsonOption, TankOption

AtOption = Annotated[
    str | None,
    typer.Option(
        "--at",
        help="When it began: 2026-03-01T07:30:00Z, 07:30 (today) or '20 min ago'. Default: now.",
    ),
]

SourceOption = Annotated[
    str | None,
    typer.Option("--source", help="Which [source.ID]; default: the tank's own."),
]


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
    source: SourceOption = None,
    at: AtOption = None,
    tank: TankOption = None,
    config: ConfigOption = None,
    as_json: JsonOption = False,
) -> None:
    """Water was (or is being) poured. Best told when it begins."""
    payload = {
        "mode": mode,
        "litres": litres,
        "minutes": minutes,
        "neutraliser_ml": neutraliser_ml,
        "source": source,
    }
    _logged("refill", payload, tank, at, config, as_json)


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
    payload = {
        "total_ammonia_mg_l": total_ammonia,
        "total_chlorine_mg_l": total_chlorine,
        "free_chlorine_mg_l": free_chlorine,
        "ph": ph,
    }
    _logged("kit", payload, tank, at, config, as_json)


def source_test(
    total_chlorine: Annotated[
        float | None, typer.Option(help="Total chlorine, mg/L as Cl2 (DPD total).")
    ] = None,
    free_chlorine: Annotated[
        float | None, typer.Option(help="Free chlorine, mg/L as Cl2 (DPD free).")
    ] = None,
    source: SourceOption = None,
    at: AtOption = None,
    tank: TankOption = None,
    config: ConfigOption = None,
    as_json: JsonOption = False,
) -> None:
    """A test kit was used on the source's own water, before anything was put into it."""
    payload = {
        "source": source,
        "total_chlorine_mg_l": total_chlorine,
        "free_chlorine_mg_l": free_chlorine,
    }
    _logged("source-test", payload, tank, at, config, as_json)


def dose(
    neutraliser_ml: Annotated[float, typer.Option(help="Neutraliser put into the tank, mL.")],
    at: AtOption = None,
    tank: TankOption = None,
    config: ConfigOption = None,
    as_json: JsonOption = False,
) -> None:
    """Neutraliser was put into the tank itself, not into a refill's water."""
    payload = {"neutraliser_ml": neutraliser_ml}
    _logged("dose", payload, tank, at, config, as_json)


def service(
    what: Annotated[
        str,
        typer.Option(
            help="probe, feeding, cleaning or other; lamp, ozone or medicine, which oxidise."
        ),
    ],
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
    payload = {"what": what, "quantity": quantity, "minutes": minutes}
    _logged("service", payload, tank, at, config, as_json)


def _logged(
    kind: str,
    payload: Mapping[str, Any],
    tank: str | None,
    at: str | None,
    config: Path | None,
    as_json: bool,
) -> None:
    from afterfill.cli.log.told import told  # help needs nothing of it

    told(kind, payload, tank, at, config, as_json=as_json)
