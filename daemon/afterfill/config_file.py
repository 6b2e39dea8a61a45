"""Reads the TOML file into a Config, with one sentence for the first thing that is wrong."""

import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from afterfill import config as tables
from afterfill.config import Config, Probe
from afterfill.config_source import Source, SourceChange
from afterfill.errors import ConfigError
from afterfill.sentences import first_detail, first_sentence, known_keys, nearest

# The model of each table; a starred table holds one model per ID below it.
_TABLES: dict[str, type[BaseModel]] = {
    "tank.*": tables.Tank,
    "source.*": Source,
    "neutraliser.*": tables.Neutraliser,
    "mqtt": tables.Mqtt,
    "influxdb": tables.Influxdb,
    "page": tables.Page,
    "journal": tables.JournalSettings,
    "units": tables.Units,
}
_LISTS: dict[str, type[BaseModel]] = {"probe": Probe, "notify": tables.Notify}


def load(path: Path) -> Config:
    """The configuration in `path`; a relative journal or secret path starts at the file's folder.

    Raises ConfigError when the file cannot be read, is no TOML, or holds a mistake.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise ConfigError(
            f"{path}: cannot be read ({error}); `afterfill setup` writes a starter file"
        ) from error
    return parse(text, str(path), path.resolve().parent)


def parse(text: str, name: str, folder: Path = Path()) -> Config:
    """The configuration in `text`. Raises ConfigError; `name` is what it calls the file."""
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ConfigError(f"{name}: {_not_toml(str(error))}") from error
    try:
        _check_tables(document)
        config = _whole(document)
        _check_references(config)
    except ConfigError as error:
        raise ConfigError(f"{name}: {error}") from error
    return _anchored(config, folder)


def _check_tables(document: Mapping[str, Any]) -> None:
    known = known_keys(Config)
    for key in document:
        if key not in known:
            raise ConfigError(f"unknown table [{key}]; {nearest(key, known)}")
    for pattern, model in _TABLES.items():
        for where, table in _matching(document, pattern):
            _check(model, table, where)
    for key, model in _LISTS.items():
        rows = document.get(key, [])
        if not isinstance(rows, list):
            raise ConfigError(f"[{key}]: write [[{key}]], with double brackets, one for each")
        for number, table in enumerate(rows, 1):
            _check(model, table, f"[[{key}]] number {number}")


def _matching(document: Mapping[str, Any], pattern: str) -> list[tuple[str, Any]]:
    key, _, star = pattern.partition(".")
    if key not in document:
        return []
    if not star:
        return [(f"[{key}]", document[key])]
    if not isinstance(document[key], dict):
        raise ConfigError(f"'{key}' must be tables such as [{key}.NAME]")
    return [(f"[{key}.{name}]", table) for name, table in document[key].items()]


def _not_toml(said: str) -> str:
    """What the library says, in the words of who wrote the file."""
    twice = re.fullmatch(r"Cannot declare \((.+?),?\) twice \((.+)\)", said)
    if twice is not None:
        table = ".".join(part.strip().strip("'") for part in twice[1].split(","))
        return f"[{table}] appears twice ({twice[2]}): put its keys together under one"
    again = re.fullmatch(r"Cannot overwrite a value \((.+)\)", said)
    return f"this was said before ({again[1]}): leave one" if again else f"not TOML: {said}"


def _check(model: type[BaseModel], table: object, where: str) -> None:
    if not isinstance(table, dict):
        raise ConfigError(f"{where}: is {table!r}, but must be a table of keys")
    try:
        model.model_validate(table)
    except ValidationError as error:
        raise ConfigError(first_sentence(error, where, _keys_at(model, error))) from error


def _keys_at(model: type[BaseModel], error: ValidationError) -> list[str]:
    """The keys known where the first error lies, so that the nearest one can be named."""
    inner: dict[str, type[BaseModel]] = {
        "limits": tables.Limits, "change": SourceChange, "label": tables.Label, "smtp": tables.Smtp
    }  # fmt: skip
    for part in first_detail(error)["loc"][:-1]:
        model = inner.get(str(part), model)
    return known_keys(model)


def _whole(document: Mapping[str, Any]) -> Config:
    try:
        return Config.model_validate(document)
    except ValidationError as error:
        raise ConfigError(first_sentence(error, "the file", known_keys(Config))) from error


def _check_references(config: Config) -> None:
    for name, tank in config.tank.items():
        _must_exist(f"[tank.{name}]", "source", tank.source, config.source)
        _must_exist(f"[tank.{name}]", "neutraliser", tank.neutraliser, config.neutraliser)
    seen: set[str] = set()
    for number, probe in enumerate(config.probe, 1):
        where = f"[[probe]] number {number}"
        _must_exist(where, "tank", probe.tank, config.tank)
        if probe.name in seen:
            raise ConfigError(
                f"{where}: tank '{probe.tank}' has a second {probe.quantity} probe; "
                "one of each quantity can be read"
            )
        seen.add(probe.name)


def _must_exist(where: str, key: str, name: str | None, known: Mapping[str, object]) -> None:
    if name is not None and name not in known:
        raise ConfigError(
            f"{where}: key '{key}' names '{name}', which has no [{key}.{name}]; "
            f"{nearest(name, known)}"
        )


def _anchored(config: Config, folder: Path) -> Config:
    """The same configuration with its relative paths starting at `folder`."""
    changes: dict[str, Any] = {"journal": _with_paths(config.journal, folder, "path")}
    if config.mqtt:
        changes["mqtt"] = _with_paths(config.mqtt, folder, "password_file", "ca_file")
    if config.influxdb:
        changes["influxdb"] = _with_paths(config.influxdb, folder, "token_file")
    if config.page:
        changes["page"] = _with_paths(config.page, folder, "password_file")
    changes["notify"] = tuple(_anchored_way(way, folder) for way in config.notify)
    return config.model_copy(update=changes)


def _anchored_way(way: tables.Notify, folder: Path) -> BaseModel:
    if way.smtp is not None:
        smtp = _with_paths(way.smtp, folder, "password_file", "ca_file")
        way = way.model_copy(update={"smtp": smtp})
    return _with_paths(way, folder, "url_file", "heartbeat_url_file")


def _with_paths(table: BaseModel, folder: Path, *keys: str) -> BaseModel:
    paths = {key: getattr(table, key) for key in keys}
    return table.model_copy(update={k: folder / p for k, p in paths.items() if p is not None})
