"""How commands print: words and tables for people, one JSON object a line for programs."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import typer

from afterfill.wire import to_line

if TYPE_CHECKING:  # rich loads only where something is shown to a person
    from rich.console import Console

_WIDTH_IN_A_PIPE = 200  # nothing is cut off where nobody looks


def console(*, stderr: bool = False) -> "Console":
    """A console on standard output (or error) that takes text as it is."""
    from rich.console import Console

    made = Console(stderr=stderr, markup=False, highlight=False, soft_wrap=True)
    if made.is_terminal:
        return made
    return Console(
        stderr=stderr, markup=False, highlight=False, soft_wrap=True, width=_WIDTH_IN_A_PIPE
    )


def say(text: str, colour: str | None = None) -> None:
    """A line for a person, coloured on a terminal; the words alone must tell."""
    typer.secho(text, fg=colour)


def notice(text: str) -> None:
    """A remark on standard error, out of the way of results."""
    typer.echo(f"afterfill: {text}", err=True)


def say_json(wire: Mapping[str, Any]) -> None:
    """A line for a program."""
    typer.echo(to_line(dict(wire)))


def say_table(headers: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """A table; on a narrow terminal cells are folded, never cut off."""
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    table = Table(box=SIMPLE_HEAD, pad_edge=False)
    for header in headers:
        table.add_column(header, overflow="fold")
    for row in rows:
        table.add_row(*row)
    console().print(table, soft_wrap=False)
