"""How commands print: words and tables for people, one JSON object a line for programs."""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import typer

from afterfill.shown import shown, without_secrets
from afterfill.wire import to_line

if TYPE_CHECKING:  # rich loads only where something is shown to a person
    from rich.console import Console

_WIDTH_IN_A_PIPE = 200  # what a program reads is not cut off


@dataclass(frozen=True, slots=True)
class Line:
    """A line of words, coloured on a terminal; the words alone must tell."""

    text: str
    colour: str | None = None


@dataclass(frozen=True, slots=True)
class Table:
    """Cells below their headers."""

    headers: Sequence[str]
    rows: Sequence[Sequence[str]]


def tell(words: Iterable[str | Line | Table], wire: Mapping[str, Any], *, as_json: bool) -> None:
    """Print an answer, for a person or for a program; both are made of the same figures."""
    if as_json:
        say_json(wire)
        return
    for part in words:
        if isinstance(part, Table):
            say_table(part.headers, part.rows)
        elif isinstance(part, Line):
            say(part.text, part.colour)
        else:
            say(part)


def console(*, stderr: bool = False) -> "Console":
    """A console on standard output (or error) that takes text as it is."""
    made = _plain_console(stderr=stderr)
    return made if made.is_terminal else _plain_console(stderr=stderr, width=_WIDTH_IN_A_PIPE)


def _plain_console(*, stderr: bool, width: int | None = None) -> "Console":
    from rich.console import Console

    return Console(
        stderr=stderr, width=width, markup=False, emoji=False, highlight=False, soft_wrap=True
    )


def say(text: str, colour: str | None = None) -> None:
    """One line for a person, coloured on a terminal; the words alone must tell. What it quotes
    may come from anywhere: nothing in it steers the terminal or begins another line."""
    typer.secho(shown(without_secrets(text)), fg=colour)


def notice(text: str) -> None:
    """A remark on standard error, out of the way of results."""
    typer.echo(f"afterfill: {shown(without_secrets(text))}", err=True)


def say_json(wire: Mapping[str, Any]) -> None:
    """A line for a program."""
    typer.echo(_plain_json(to_line(dict(wire))))


def _plain_json(line: str) -> str:
    """The same JSON with what is no plain print as JSON's own escapes."""
    if line.isprintable():
        return line
    return "".join(c if c.isprintable() else json.dumps(c)[1:-1] for c in line)


def say_table(headers: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """A table; on a narrow terminal cells are folded, never cut off."""
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    table = Table(box=SIMPLE_HEAD, pad_edge=False)
    for header in headers:
        table.add_column(shown(header), overflow="fold")
    for row in rows:
        table.add_row(*map(shown, row))
    console().print(table, soft_wrap=False)
