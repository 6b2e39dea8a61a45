"""Every command of the program that does something."""

from collections.abc import Iterator
from typing import Any

import typer

from afterfill.cli.lazy_group import Later
from afterfill.cli.main import app


def leaves(command: Any, path: tuple[str, ...] = ()) -> Iterator[tuple[str, Any]]:  # noqa: ANN401
    """Every command that does something, by its full name; the library brings its own types."""
    if isinstance(command, Later):
        command = command.imported()
    inner = getattr(command, "commands", None)
    if inner is None:
        yield " ".join(path), command
        return
    for name, part in inner.items():
        yield from leaves(part, (*path, name))


COMMANDS = dict(leaves(typer.main.get_command(app)))
