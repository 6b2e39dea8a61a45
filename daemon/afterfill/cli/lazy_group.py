"""Groups that import a command only when it runs, so that help and the small commands are quick."""

from collections.abc import Mapping
from importlib import import_module
from typing import Any

import typer
from typer.core import TyperCommand, TyperGroup


class Later(TyperCommand):
    """A command that is not imported yet: its name, where it is, its line in the group's help."""

    def __init__(self, name: str, where: str, line: str) -> None:
        """`where` is ``module:function``, the module within this package."""
        super().__init__(name, short_help=line)
        self.where = where

    def imported(self) -> Any:  # noqa: ANN401 - typer's own type, which differs between versions
        """The command itself."""
        module, _, function = self.where.partition(":")
        app = typer.Typer(add_completion=False, rich_markup_mode=None)
        app.command(self.name)(getattr(import_module(f"afterfill.cli.{module}"), function))
        return typer.main.get_command(app)


class LazyGroup(TyperGroup):
    """A group of commands that may be `Later`."""

    def resolve_command(self, ctx: Any, args: list[str]) -> tuple[Any, Any, list[str]]:  # noqa: ANN401 - as in the class above
        """As in the class above, with the command itself."""
        name, command, rest = super().resolve_command(ctx, args)
        return name, command.imported() if isinstance(command, Later) else command, rest


Row = tuple[str, str] | LazyGroup


def later(table: Mapping[str, Row]) -> dict[str, Any]:
    """The commands of a group, from a table of name to ``module:function`` and line of help; what
    is a group already stays one."""
    return {
        name: row if isinstance(row, LazyGroup) else Later(name, *row)
        for name, row in table.items()
    }


def group(line: str, text: str, table: Mapping[str, Row]) -> LazyGroup:
    """A group within a group: its line in the outer one's help, its own help, its commands."""
    return LazyGroup(
        short_help=line, help=text, commands=later(table), no_args_is_help=True,
        rich_markup_mode=None,
    )  # fmt: skip
