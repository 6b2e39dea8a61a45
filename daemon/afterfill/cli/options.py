"""The options that commands share, and what they lead to: configuration, journal, tank."""

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from afterfill.errors import ConfigError, JournalError, UsageError

if TYPE_CHECKING:  # pydantic loads only in the commands that read the configuration
    from afterfill.config import Config
    from afterfill.journal.store import Journal

FILE_NAME = "afterfill.toml"
SYSTEM_FILE = Path("/etc/afterfill") / FILE_NAME

ConfigOption = Annotated[
    Path | None,
    typer.Option(
        "--config",
        envvar="AFTERFILL_CONFIG",
        help=f"The configuration; else {FILE_NAME} in this folder, else {SYSTEM_FILE}.",
        show_default=False,
    ),
]
TankOption = Annotated[
    str | None,
    typer.Option("--tank", help="Which tank; may be left out when there is only one."),
]
JsonOption = Annotated[
    bool, typer.Option("--json", help="Print JSON, one object a line, instead of words.")
]

StillOption = Annotated[
    float, typer.Option(min=0.1, max=600, help="How long a value must stand still.")
]
EveryOption = Annotated[float, typer.Option(min=0.0, max=60, help="Seconds between readings.")]
ProbeOption = Annotated[str | None, typer.Option(help="Its name, if the tank has several of them.")]


def config_path(given: Path | None) -> Path:
    """The configuration file to use. Raises ConfigError when there is none."""
    if given is not None:
        return given
    for path in (Path(FILE_NAME), SYSTEM_FILE):
        if path.exists():
            return path
    raise ConfigError(
        f"there is no {FILE_NAME} in this folder and no {SYSTEM_FILE}: "
        "write one with `afterfill setup`, or name one with --config"
    )


def loaded(given: Path | None) -> "tuple[Config, Path]":
    """The configuration, and the journal's path (relative ones start at the file's folder).

    Raises ConfigError.
    """
    from afterfill.config_file import load

    config = load(config_path(given))
    return config, config.journal.path


def one_tank(config: "Config", given: str | None) -> str:
    """The tank that is meant. Raises UsageError when it is unknown or not said."""
    if given is not None:
        return named(given, config.tank, "tank")
    if len(config.tank) > 1:
        raise UsageError(f"say which tank with --tank: {', '.join(config.tank)}")
    return next(iter(config.tank))


def tanks(config: "Config", given: str | None) -> list[str]:
    """The tank that is named, or all. Raises UsageError when it is unknown."""
    return list(config.tank) if given is None else [named(given, config.tank, "tank")]


def named(name: str, known: Iterable[str], what: str) -> str:
    """`name`, when it is known. Raises UsageError with the nearest known name."""
    from afterfill.sentences import nearest

    names = list(known)
    if name not in names:
        raise UsageError(f"there is no {what} '{name}'; {nearest(name, names)}")
    return name


def reading_journal(path: Path) -> "Journal":
    """The journal, to be read only. Raises JournalError, also when there is none yet."""
    from afterfill.journal.store import Journal

    if not path.exists():
        raise JournalError(
            f"the journal {path} does not exist: the service has not run with this "
            "configuration yet (`afterfill run`)"
        )
    return Journal.open(path, read_only=True)
