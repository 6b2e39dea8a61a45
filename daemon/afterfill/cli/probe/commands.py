"""`afterfill probe`: which probes there are, what they say, and what they are worth."""

from typing import Annotated

import typer

from afterfill.cli.options import ConfigOption, JsonOption
from afterfill.cli.probe.said import Liquids, Patience, RawWater, Which
from afterfill.cli.typed import number_option

StillOption = Annotated[
    float,
    number_option("--still-seconds", low=0.1, high=600, help="How long a value must stand still."),
]
EveryOption = Annotated[
    float, number_option("--every", low=0.0, high=60, help="Seconds between readings.")
]


def list_(config: ConfigOption = None, as_json: JsonOption = False) -> None:
    """Every configured probe, with its last usable value, its age and its errors."""
    from afterfill.cli.probe.rows import listed

    listed(config, as_json=as_json)


def read(
    name: Annotated[
        str | None, typer.Argument(help="Such as window-orp (see `probe list`); default: all.")
    ] = None,
    count: Annotated[int, typer.Option(min=1, max=10_000, help="How many readings of each.")] = 1,
    every: Annotated[
        float, number_option("--every", low=0.0, high=3600.0, help="Seconds between them.")
    ] = 1.0,
    config: ConfigOption = None,
    as_json: JsonOption = False,
) -> None:
    """Ask probes now and print what they say, offsets applied (ORP mV, pH, temperature C).

    Opens the port by itself. A port belongs to one program: while the service holds it, the last
    value that the service recorded is shown. Ends with 1 when a reading was not usable.
    """
    from afterfill.cli.probe.read import usable

    if not usable(name, count, every, config, as_json=as_json):
        raise typer.Exit(1)


def calibrate(
    quantity: Annotated[str, typer.Option(help="ph or orp.")],
    liquids: Liquids,
    still_seconds: StillOption = 30.0,
    every: EveryOption = 3.0,
    most_minutes: Annotated[
        float,
        number_option(
            "--most-minutes", low=0.01, high=60, help="Give up on a liquid after this long."
        ),
    ] = 10.0,
    *,
    which: Which,
) -> None:
    """Hold a pH probe in buffers, or an ORP probe in a standard, and learn what it is worth.

    Asks for each liquid in turn, waits until the probe stands still, and says how the probe is
    and what `offset` belongs into its [[probe]] table: no reading changes by itself. The journal
    keeps that it was calibrated. An ORP probe's learnt response is forgotten. Ends with 1 when
    the probe should be replaced, the buffers are doubtful, or it never stood still.
    """
    from afterfill.cli.probe.calibrate import calibrated

    patience = Patience(still_seconds, every, 60.0 * most_minutes)
    if not calibrated(quantity, liquids, which, patience):
        raise typer.Exit(1)


def response(
    water: RawWater,
    still_seconds: StillOption = 60.0,
    every: EveryOption = 5.0,
    most_minutes: Annotated[
        float,
        number_option(
            "--most-minutes", low=0.01, high=60, help="Take what is shown after this long."
        ),
    ] = 15.0,
    *,
    which: Which,
) -> None:
    """Hold the ORP probe in conditioned, then in raw tap water, and so teach how it answers.

    Two like probes may answer very differently; this measures yours, and lowers the smallest
    residual that it would call. The step, what the water held and what was learnt go into the
    journal, where the service takes them up. Ends with 1 when the probe does not answer.
    """
    from afterfill.cli.probe.response import taught

    patience = Patience(still_seconds, every, 60.0 * most_minutes)
    taught(water, which, patience)
