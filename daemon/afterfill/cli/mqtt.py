"""`afterfill mqtt`: take back what was left on a broker."""

import sys
from collections import Counter
from collections.abc import Callable
from contextlib import nullcontext
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Annotated, Any

import typer
from pydantic import ValidationError

from afterfill.cli.configured import loaded
from afterfill.cli.console import tell
from afterfill.cli.options import ConfigOption, JsonOption
from afterfill.config import Config, Mqtt
from afterfill.errors import UsageError
from afterfill.journal.store import Journal
from afterfill.sentences import first_sentence, known_keys
from afterfill.service.only_one import only_one
from afterfill.sinks.mqtt.clear import Clearing
from afterfill.sinks.mqtt.ids import client_id as id_of
from afterfill.sinks.mqtt.present import announced, remember


@dataclass(frozen=True, slots=True, kw_only=True)
class Which:
    """The broker that is meant, and what we were there."""

    host: Annotated[
        str | None, typer.Option(help="Another broker than that of [mqtt], or one of before.")
    ] = None
    port: Annotated[int, typer.Option(help="Its port.")] = 1883
    username: Annotated[str | None, typer.Option(help="Our name there.")] = None
    password_file: Annotated[
        Path | None, typer.Option(help="The file that holds the password.")
    ] = None
    tls: Annotated[bool, typer.Option("--tls", help="It speaks TLS.")] = False
    ca_file: Annotated[Path | None, typer.Option(help="Its authority's certificate.")] = None
    base: Annotated[str | None, typer.Option(help="What our topics began with there.")] = None
    discovery_prefix: Annotated[
        str | None, typer.Option(help="Where the hub looked for entities.")
    ] = None
    client_id: Annotated[str | None, typer.Option(help="As whom the service was there.")] = None


def clear(
    which: Which,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    config: ConfigOption = None,
    as_json: JsonOption = False,
) -> None:
    """Remove this service's entities and states from the broker of [mqtt], or from one of before
    (`--host`). Stop the service first, if it uses that broker: it would say all again.

    Only what is its own: topics that the journal remembers, and those of its tanks.
    """
    settings = loaded(config)
    broker = _broker(settings, asdict(which))
    where = f"{broker.host}:{broker.port}"
    removed, others = _cleared(settings, broker, lambda found: yes or _agreed(found, where))
    done = f"removed from {where}: {_counted(removed)}"
    words = [done if removed else f"{where}: nothing removed"]
    for other in others:
        left = f"left: what is of the service {other}"
        words.append(f"{left}; if that is gone for good: --client-id {other}")
    wire = {"kind": "mqtt-clear", "broker": where, "removed": removed, "others": others}
    tell(words, wire, as_json=as_json)


def _cleared(
    settings: Config, broker: Mqtt, agreed: Callable[[list[str]], bool]
) -> tuple[list[str], list[str]]:
    """Topics removed from the broker, and services whose topics were left."""
    path = settings.journal.path
    used = settings.mqtt is not None and (settings.mqtt.host, settings.mqtt.port) == (
        broker.host, broker.port
    )  # fmt: skip
    with only_one(path) if used else nullcontext(), Journal.open(path) as journal:
        before = announced(journal)
        service = id_of(broker.client_id, journal.meta("journal"))
        visit = Clearing(settings.model_copy(update={"mqtt": broker}), service, frozenset(before))
        removed = visit.run(agreed)
        remember(journal, [topic for topic in before if topic not in removed])
    return removed, sorted(visit.others)


def _broker(config: Config, given: dict[str, Any]) -> Mqtt:
    """The broker that is meant. One that is named gets no password of another's."""
    if given["host"] is None:
        if config.mqtt is None:
            raise UsageError("there is no [mqtt] in the configuration; say which broker: --host")
        given = {key: given[key] for key in ("base", "discovery_prefix", "client_id")}
        given = {**config.mqtt.model_dump(), **{k: v for k, v in given.items() if v is not None}}
    try:
        return Mqtt.model_validate({k: v for k, v in given.items() if v is not None})
    except ValidationError as error:
        raise UsageError(first_sentence(error, "mqtt clear", known_keys(Mqtt))) from error


def _agreed(found: list[str], where: str) -> bool:
    """Ask the person. Raises UsageError where no person can be asked."""
    if not sys.stdin.isatty():
        raise UsageError(f"{where} keeps {_counted(found)} of ours; remove them with --yes")
    return typer.confirm(f"{where} keeps {_counted(found)} of ours. Remove them?")


def _counted(topics: list[str]) -> str:
    """How many entities and states, and below what."""
    entities = sum(topic.endswith("/config") for topic in topics)
    below = Counter(t.rsplit("/", 1)[0] for t in topics if not t.endswith("/config"))
    places = ", ".join(f"{number} under {place}" for place, number in sorted(below.items()))
    return f"{entities} entities" + (f", topics: {places}" if places else "")
