"""`afterfill man`: the manual page, made from the commands' own help."""

import inspect
from collections.abc import Iterator
from importlib.metadata import version
from typing import Any

import typer

from afterfill.cli.lazy_group import leaves

_CAUTIONS = (
    "Fish in distress need help now, whatever a program says: ask a vet. Never mix chemicals. Keep "
    "mains power and water apart. Automatic filling and backflow fall under local code and are "
    "work for licensed trades. This is not a drinking-water instrument."
)
_EXITS = (
    ("0", "done"),
    ("1", "the answer is bad news, where a script would want to know"),
    ("2", "wrong use or configuration"),
    ("3", "something is unavailable"),
)
_FILES = (
    ("/etc/afterfill/afterfill.toml", "the configuration, where no other is named or lies here"),
    ("AFTERFILL_CONFIG", "in the environment: another configuration"),
)


def man() -> None:
    """Print the manual page of all commands, for `man -l`."""
    from afterfill.cli.main import app

    typer.echo("\n".join(page(typer.main.get_command(app))))


def page(program: Any) -> Iterator[str]:  # noqa: ANN401 - click's own type, which typer does not export
    """The page's lines, in the macros of man(7)."""
    yield f'.TH AFTERFILL 1 "" "afterfill {version("afterfill")}" "User Commands"'
    yield from (".SH NAME", "afterfill \\- was tap-water disinfectant carried into the tank?")
    yield from (
        ".SH SYNOPSIS",
        ".B afterfill",
        r"[\fB\-\-version\fR] \fICOMMAND\fR [\fIOPTION\fR...]",
    )
    yield from (".SH DESCRIPTION", *_prose(program.help))
    yield ".SH COMMANDS"
    for name, command in leaves(program):
        yield from _command(name, command)
    yield ".SH EXIT STATUS"
    yield from _listed(_EXITS)
    yield ".SH FILES AND ENVIRONMENT"
    yield from _listed(_FILES)
    yield from (".SH CAUTIONS", *_prose(_CAUTIONS))


def _command(name: str, command: Any) -> Iterator[str]:  # noqa: ANN401 - the library names no type
    arguments = [it for it in command.params if it.param_type_name == "argument"]
    shown = "".join(rf" \fI{_text((it.metavar or it.name).upper())}\fR" for it in arguments)
    yield rf'.SS "\fBafterfill {_text(name)}\fR{shown}"'
    yield from _prose(inspect.cleandoc(command.help or ""))
    for option in command.params:
        if option.param_type_name == "option" and not option.hidden:
            yield ".TP"
            yield ", ".join(rf"\fB{_text(it)}\fR" for it in option.opts)
            yield _text(" ".join((option.help or "").split()))


def _listed(rows: tuple[tuple[str, str], ...]) -> Iterator[str]:
    for name, words in rows:
        yield from (".TP", rf"\fB{_text(name)}\fR", _text(words))


def _prose(text: str) -> Iterator[str]:
    for paragraph in text.split("\n\n"):
        yield from (".PP", _text(" ".join(paragraph.split())))


def _text(words: str) -> str:
    """With what troff would take for its own made plain."""
    plain = words.replace("\\", "\\e").replace("-", "\\-").replace("°", "\\(de")
    return f"\\&{plain}" if plain[:1] in (".", "'") else plain
