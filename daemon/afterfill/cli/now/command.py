"""`afterfill now`: is it safe, since when, and what is known."""

from typing import Annotated

import typer

from afterfill.cli.options import ConfigOption, JsonOption, TankOption


def now(
    tank: TankOption = None,
    config: ConfigOption = None,
    learned: Annotated[
        bool, typer.Option("--learned", help="Also what was learnt of the ORP probe.")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Is the tank safe, as far as the probes can see? Words first, then the figures.

    Residual is the total residual oxidant, free plus combined chlorine, mg/L as Cl2; un-ionised
    ammonia is mg/L as N; intervals hold 90 %. Ends with 1 when a tank is not safe, or the service
    cannot tell, is still learning or does not run. This is no drinking-water instrument, and no
    substitute for a test kit.
    """
    from afterfill.cli.now.answer import all_safe

    if not all_safe(tank, config, learned=learned, as_json=as_json):
        raise typer.Exit(1)
