"""What the keeper asks and says, as typed."""

from dataclasses import dataclass
from typing import Annotated

import typer

from afterfill.cli.typed import alkalinity_option, ammonia_option, chlorine_option, number_option


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """The refill to be planned, or with `rescue` the residual that a kit found [mg/L as Cl2]; and
    what is known of the tank and the water."""

    litres: Annotated[
        str | None,
        typer.Option(help="New water: 25 (litres), '6 US gal', '5 imp gal'.", show_default=False),
    ] = None
    share: Annotated[
        str | None, typer.Option(help="Or its share of the tank: 25%.", show_default=False)
    ] = None
    mode: Annotated[
        str, typer.Option(help="replace (drained first) or add (a top-off onto what is there).")
    ] = "replace"
    source: Annotated[
        str | None, typer.Option(help="Which [source.ID]; default: the tank's own.")
    ] = None
    dose_at: Annotated[
        str, typer.Option(help="Where the neutraliser goes: bucket, line or tank.")
    ] = "bucket"
    dose_ml: Annotated[
        str | None,
        typer.Option(
            help="A dose of your own to be judged: 5 (mL), '2 g', '1 tablet'.", show_default=False
        ),
    ] = None
    standing_hours: Annotated[
        float | None,
        number_option(
            "--standing-hours",
            help="How long the water stands open before, h; default: as configured.",
        ),
    ] = None
    ammonia_mg_l: Annotated[
        float | None,
        ammonia_option(
            "--ammonia", help="The tank's total ammonia by a kit, mg/L as N, or '0.5 NH3'."
        ),
    ] = None
    tank_ph: Annotated[float | None, number_option("--tank-ph", help="The tank's pH.")] = None
    tank_temperature: Annotated[
        str | None, typer.Option(help="The tank's temperature: 25, '78 F'.")
    ] = None
    source_temperature: Annotated[
        str | None, typer.Option(help="The new water's temperature: 15, '59 F'.")
    ] = None
    source_ph: Annotated[float | None, number_option("--source-ph", help="The new water's pH.")] = (
        None
    )
    source_alkalinity: Annotated[
        float | None,
        alkalinity_option(
            "--source-alkalinity", help="The new water's alkalinity, mg/L as CaCO3, or '5 dKH'."
        ),
    ] = None
    rescue: Annotated[
        bool, typer.Option("--rescue", help="Plan what to do about a carry-over instead.")
    ] = False
    residual_mg_l: Annotated[
        float | None,
        chlorine_option(
            "--residual", help="With --rescue: total chlorine by a DPD kit, mg/L as Cl2."
        ),
    ] = None
