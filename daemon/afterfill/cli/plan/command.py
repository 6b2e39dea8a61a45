"""`afterfill plan`: what to dose and expect before a refill, or what to do after a carry-over."""

from typing import Annotated

import typer

from afterfill.cli.options import ConfigOption, JsonOption, TankOption
from afterfill.cli.plan.said import Asking, Said


def plan(
    litres: Annotated[
        str | None, typer.Option(help="New water: 25 (litres), '6 gal'.", show_default=False)
    ] = None,
    share: Annotated[
        str | None, typer.Option(help="Or its share of the tank: 25%.", show_default=False)
    ] = None,
    mode: Annotated[
        str, typer.Option(help="replace (drained first) or add (a top-off onto what is there).")
    ] = "replace",
    source: Annotated[
        str | None, typer.Option(help="Which [source.ID]; default: the tank's own.")
    ] = None,
    dose_at: Annotated[
        str, typer.Option(help="Where the neutraliser goes: bucket, line or tank.")
    ] = "bucket",
    dose_ml: Annotated[
        float | None, typer.Option(help="A dose of your own to be judged, mL.", show_default=False)
    ] = None,
    standing_hours: Annotated[
        float | None,
        typer.Option(help="How long the water stands open before, h; default: as configured."),
    ] = None,
    ammonia: Annotated[
        float | None, typer.Option(help="The tank's total ammonia by a kit, mg/L as N.")
    ] = None,
    tank_ph: Annotated[float | None, typer.Option("--tank-ph", help="The tank's pH.")] = None,
    tank_temperature: Annotated[
        str | None, typer.Option(help="The tank's temperature: 25, '78 F'.")
    ] = None,
    source_temperature: Annotated[
        str | None, typer.Option(help="The new water's temperature: 15, '59 F'.")
    ] = None,
    rescue: Annotated[
        bool, typer.Option("--rescue", help="Plan what to do about a carry-over instead.")
    ] = False,
    residual: Annotated[
        float | None,
        typer.Option(help="With --rescue: total chlorine by a DPD kit, mg/L as Cl2."),
    ] = None,
    tank: TankOption = None,
    config: ConfigOption = None,
    as_json: JsonOption = False,
) -> None:
    """Plan a refill: the dose, what to do in order, and what the tank will hold after it.

    Uses the journal's newest pH, temperature and ammonia when they are fresh, and says so. Residual
    is mg/L as Cl2, ammonia mg/L as N; intervals hold 90 %. Ends with 1 when the plan cannot be
    made safe. A plan is arithmetic, no measurement: test the water.
    """
    from afterfill.cli.plan.answer import safe

    said = Said(ammonia, tank_ph, tank_temperature, source_temperature, source)
    asking = Asking(litres, share, mode, dose_at, dose_ml, standing_hours, rescue, residual)
    if not safe(asking, said, tank, config, as_json=as_json):
        raise typer.Exit(1)
