"""`afterfill alarm`: what the alarms say, and a person's answer to them."""

from typing import Annotated, Any

import typer

from afterfill.cli.options import Asked
from afterfill.cli.typed import number_option
from afterfill.records import AlarmAction

NameArgument = Annotated[
    str, typer.Argument(metavar="NAME", help="As `afterfill alarm list` names it.")
]


def list_(
    why: Annotated[
        bool,
        typer.Option("--why", help="Also cause, consequence, time to respond and action."),
    ] = False,
    *,
    asked: Asked,
) -> None:
    """Every alarm with its state, in the words of ISA-18.2."""
    from afterfill.cli.alarm.rows import listed

    listed(asked, why=why)


def acknowledge(name: NameArgument, asked: Asked) -> None:
    """Say that a person has seen the alarm and acts on it."""
    _command("acknowledge", name, {}, asked)


def shelve(
    name: NameArgument,
    minutes: Annotated[
        float, number_option("--minutes", help="For how long, min; at most a week (10080).")
    ],
    asked: Asked,
) -> None:
    """Put an alarm aside for some minutes; it asks again by itself when it still holds then."""
    _command("shelve", name, {"minutes": minutes}, asked)


def unshelve(name: NameArgument, asked: Asked) -> None:
    """Take an alarm back before its shelf ends."""
    _command("unshelve", name, {}, asked)


def out_of_service(
    name: NameArgument,
    reason: Annotated[str, typer.Option(help="Why; shown until it is brought back.")],
    asked: Asked,
) -> None:
    """Take an alarm out for maintenance until `return-to-service`; told once a day meanwhile."""
    _command("out-of-service", name, {"reason": reason}, asked)


def return_to_service(name: NameArgument, asked: Asked) -> None:
    """Bring back an alarm that was out of service; it asks again when it holds."""
    _command("return-to-service", name, {}, asked)


def load(
    days: Annotated[float, number_option("--days", help="How many days to look back.")] = 7.0,
    *,
    asked: Asked,
) -> None:
    """How much the alarms ask of you: a day, at their peak, standing, chattering, stale."""
    from afterfill.cli.alarm.load import loads_shown

    loads_shown(days, asked)


def _command(action: AlarmAction, name: str, payload: dict[str, Any], asked: Asked) -> None:
    from afterfill.cli.alarm.answers import answered

    answered(action, name, payload, asked)
