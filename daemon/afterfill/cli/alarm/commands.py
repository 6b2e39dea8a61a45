"""`afterfill alarm`: what the alarms say, and a person's answer to them."""

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from afterfill.cli.options import (
    ConfigOption,
    JsonOption,
    TankOption,
    loaded,
    named,
    one_tank,
    reading_journal,
    tanks,
)

if TYPE_CHECKING:
    from afterfill.journal.store import Journal
    from afterfill.records import AlarmAction, AlarmChange

alarm = typer.Typer(
    help="List alarms and their load; acknowledge, shelve, take out of service.",
    no_args_is_help=True,
)

NameArgument = Annotated[
    str, typer.Argument(metavar="NAME", help="As `afterfill alarm list` names it.")
]


@alarm.command("list")
def list_(
    why: Annotated[
        bool,
        typer.Option("--why", help="Also cause, consequence, time to respond and action."),
    ] = False,
    tank: TankOption = None,
    config: ConfigOption = None,
    as_json: JsonOption = False,
) -> None:
    """Every alarm with its state, in the words of ISA-18.2."""
    from afterfill.cli.alarm.rows import rows_of
    from afterfill.cli.console import say, say_json, say_table

    settings, journal_path = loaded(config)
    wanted = tanks(settings, tank)
    with reading_journal(journal_path) as journal:
        rows = [row for name in wanted for row in rows_of(journal, settings, name)]
    if as_json:
        for row in rows:
            say_json(row.wire(why=why))
        return
    headers = ("tank", "alarm", "priority", "state", "since", "message")
    say_table(headers, [row.cells() for row in rows])
    for note in dict.fromkeys(row.note for row in rows if row.note):
        say(note)
    if why:
        for row in {row.definition.name: row for row in rows}.values():
            say("")
            for line in row.reasons().splitlines():
                say(line)


@alarm.command()
def acknowledge(
    name: NameArgument,
    tank: TankOption = None,
    config: ConfigOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say that a person has seen the alarm and acts on it."""
    _command("acknowledge", name, {}, tank, config, as_json)


@alarm.command()
def shelve(
    name: NameArgument,
    minutes: Annotated[float, typer.Option(help="For how long, min; at most a week (10080).")],
    tank: TankOption = None,
    config: ConfigOption = None,
    as_json: JsonOption = False,
) -> None:
    """Put an alarm aside for some minutes; it asks again by itself when it still holds then."""
    _command("shelve", name, {"minutes": minutes}, tank, config, as_json)


@alarm.command()
def unshelve(
    name: NameArgument,
    tank: TankOption = None,
    config: ConfigOption = None,
    as_json: JsonOption = False,
) -> None:
    """Take an alarm back before its shelf ends."""
    _command("unshelve", name, {}, tank, config, as_json)


@alarm.command("out-of-service")
def out_of_service(
    name: NameArgument,
    reason: Annotated[str, typer.Option(help="Why; shown until it is brought back.")],
    tank: TankOption = None,
    config: ConfigOption = None,
    as_json: JsonOption = False,
) -> None:
    """Take an alarm out for maintenance until `return-to-service`; told once a day meanwhile."""
    _command("out-of-service", name, {"reason": reason}, tank, config, as_json)


@alarm.command("return-to-service")
def return_to_service(
    name: NameArgument,
    tank: TankOption = None,
    config: ConfigOption = None,
    as_json: JsonOption = False,
) -> None:
    """Bring back an alarm that was out of service; it asks again when it holds."""
    _command("return-to-service", name, {}, tank, config, as_json)


@alarm.command()
def load(
    days: Annotated[float, typer.Option(help="How many days to look back.")] = 7.0,
    tank: TankOption = None,
    config: ConfigOption = None,
    as_json: JsonOption = False,
) -> None:
    """How much the alarms ask of you: a day, at their peak, standing, chattering, stale."""
    from afterfill.cli.alarm.rows import load_rows, loads
    from afterfill.cli.console import say_json, say_table
    from afterfill.errors import UsageError

    if not 0.0 < days <= 3660.0:
        raise UsageError(f"--days {days:g} is no span: give more than 0 and at most 3660")
    settings, journal_path = loaded(config)
    with reading_journal(journal_path) as journal:
        found = loads(journal, tanks(settings, tank), days)
    if as_json:
        for name, figures in found.items():
            say_json({"kind": "alarm-load", "tank": name, **asdict(figures)})
        return
    say_table(("figure", *found), load_rows(found))


def _command(
    action: "AlarmAction",
    name: str,
    payload: dict[str, Any],
    tank: str | None,
    config: Path | None,
    as_json: bool,
) -> None:
    from afterfill.alarms.definitions import DEFINITIONS
    from afterfill.cli.alarm.rows import nothing_to_do
    from afterfill.cli.console import say, say_json
    from afterfill.cli.submission import submitted
    from afterfill.cli.times import present_s
    from afterfill.payloads import alarm_command_from
    from afterfill.wire import to_wire

    settings, journal_path = loaded(config)
    alarm_name = named(name, DEFINITIONS, "alarm")
    tank_name = one_tank(settings, tank)
    command = alarm_command_from(
        action, payload, tank=tank_name, alarm=alarm_name, time_s=present_s()
    )
    with reading_journal(journal_path) as journal:
        last = _last(journal, tank_name, alarm_name)
    head = f"alarm {alarm_name} of tank {tank_name}"
    idle = nothing_to_do(action, "normal" if last is None else last.state)
    if idle:
        answer = f"{head} {idle}"
        if as_json:
            say_json({**to_wire(command), "done": False, "answer": answer})
        else:
            say(answer)
        return
    span = f" for {command.minutes:g} min" if command.minutes is not None else ""
    submitted(settings, journal_path, command, f"{head}: {_DONE[action]}{span}", as_json=as_json)


_DONE: "dict[AlarmAction, str]" = {
    "acknowledge": "acknowledged",
    "shelve": "shelved",
    "unshelve": "unshelved",
    "out-of-service": "out of service",
    "return-to-service": "back in service",
}


def _last(journal: "Journal", tank: str, name: str) -> "AlarmChange | None":
    from afterfill.cli.latest import alarms

    return alarms(journal, tank, [name]).get(name)
