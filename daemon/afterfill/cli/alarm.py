"""`afterfill alarm`: what the alarms say, and a person's answer to them."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

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
    from afterfill.records import AlarmChange

alarm = typer.Typer(help="List, acknowledge or shelve alarms.", no_args_is_help=True)

NameArgument = Annotated[
    str,
    typer.Argument(
        metavar="NAME", help="residual-oxidant, free-ammonia, probe-lost or cannot-see."
    ),
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
    from afterfill.cli.alarm_rows import rows_of
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
            say(f"\n{row.reasons()}")


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


def _command(
    action: Literal["acknowledge", "shelve"],
    name: str,
    payload: dict[str, float],
    tank: str | None,
    config: Path | None,
    as_json: bool,
) -> None:
    from afterfill.alarms.definitions import DEFINITIONS
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
    if action == "acknowledge" and (last is None or last.state == "normal"):
        answer = (
            f"alarm {alarm_name} of tank {tank_name} is normal: there is nothing to acknowledge"
        )
        if as_json:
            say_json({**to_wire(command), "done": False, "answer": answer})
        else:
            say(answer)
        return
    span = f" for {command.minutes:g} min" if command.minutes is not None else ""
    done = "acknowledged" if action == "acknowledge" else "shelved"
    words = f"alarm {alarm_name} of tank {tank_name}: {done}{span}"
    submitted(settings, journal_path, command, words, as_json=as_json)


def _last(journal: "Journal", tank: str, name: str) -> "AlarmChange | None":
    from afterfill.cli.latest import alarms

    return alarms(journal, tank, [name]).get(name)
