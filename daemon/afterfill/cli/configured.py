"""What the shared options lead to: the configuration, the tank that is meant, the journal."""

from collections.abc import Iterable
from pathlib import Path

from afterfill.cli.places import FILE_NAME, SYSTEM_FILE
from afterfill.config import Config
from afterfill.config_file import load
from afterfill.errors import ConfigError, JournalError, UsageError
from afterfill.journal.store import Journal
from afterfill.sentences import nearest


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


def loaded(given: Path | None) -> Config:
    """The configuration. Raises ConfigError."""
    return load(config_path(given))


def one_tank(config: Config, given: str | None) -> str:
    """The tank that is meant. Raises UsageError when it is unknown or not said."""
    if given is not None:
        return named(given, config.tank, "tank")
    if len(config.tank) > 1:
        raise UsageError(f"say which tank with --tank: {', '.join(config.tank)}")
    return next(iter(config.tank))


def tanks(config: Config, given: str | None) -> list[str]:
    """The tank that is named, or all. Raises UsageError when it is unknown."""
    return list(config.tank) if given is None else [named(given, config.tank, "tank")]


def named(name: str, known: Iterable[str], what: str) -> str:
    """`name`, when it is known. Raises UsageError with the nearest known name."""
    names = list(known)
    if name not in names:
        raise UsageError(f"there is no {what} '{name}'; {nearest(name, names)}")
    return name


def reading_journal(path: Path) -> Journal:
    """The journal, to be read only. Raises JournalError, also when there is none yet."""
    if not path.exists():
        raise no_journal(path)
    return Journal.open(path, read_only=True)


def no_journal(path: Path) -> JournalError:
    """What is the matter when there is no journal yet, to be raised."""
    return JournalError(
        f"the journal {path} does not exist: the service has not run with this configuration yet "
        "(`afterfill run`)"
    )
