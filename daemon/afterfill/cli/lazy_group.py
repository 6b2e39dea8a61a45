"""Groups that import a command only when it runs, so that help and the small commands are quick."""

import inspect
from collections.abc import Callable, Iterator, Mapping
from dataclasses import fields, is_dataclass
from importlib import import_module
from typing import Any, get_type_hints

import typer
from typer.core import TyperCommand, TyperGroup


class Later(TyperCommand):
    """A command that is not imported yet: its name, where it is, its line in the group's help."""

    def __init__(self, name: str, where: str, line: str) -> None:
        """`where` is ``module:function``, the module within this package; with a point in front,
        beside it."""
        super().__init__(name, short_help=line)
        self.where = where

    def imported(self) -> Any:  # noqa: ANN401 - typer's own type, which differs between versions
        """The command itself."""
        module, _, function = self.where.partition(":")
        app = typer.Typer(add_completion=False, rich_markup_mode=None)
        app.command(self.name)(
            flat(getattr(import_module(f".{module}", "afterfill.cli"), function))
        )
        return typer.main.get_command(app)


def flat(command: Callable[..., None]) -> Callable[..., None]:
    """The command, with each field of a dataclass that it takes as an option of its own: options
    that belong together are written once and handed on as one."""
    parameters: list[inspect.Parameter] = []
    bundles: dict[str, Any] = {}
    for name, parameter in inspect.signature(command).parameters.items():
        kind: Callable[..., Any] = get_type_hints(command)[name]
        if is_dataclass(kind):
            bundles[name] = kind
            parameters += inspect.signature(kind, eval_str=True).parameters.values()
        else:
            parameters.append(parameter)

    def called(**given: Any) -> None:  # noqa: ANN401 - as the command line says
        for name, bundle in bundles.items():
            given[name] = bundle(**{field.name: given.pop(field.name) for field in fields(bundle)})
        command(**given)

    named = [parameter.replace(kind=parameter.KEYWORD_ONLY) for parameter in parameters]
    called.__doc__, called.__name__ = command.__doc__, command.__name__
    called.__signature__ = inspect.Signature(named)  # type: ignore[attr-defined]  # inspect reads it
    return called


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


def leaves(command: Any, path: tuple[str, ...] = ()) -> Iterator[tuple[str, Any]]:  # noqa: ANN401 - the library's own type
    """Every command that does something, imported, by its full name."""
    if isinstance(command, Later):
        command = command.imported()
    inner = getattr(command, "commands", None)
    if inner is None:
        yield " ".join(path), command
        return
    for name, part in inner.items():
        yield from leaves(part, (*path, name))
