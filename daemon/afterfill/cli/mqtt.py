"""`afterfill mqtt`: take back what was left on a broker."""

from collections import Counter
from contextlib import nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from afterfill.cli.options import ConfigOption, JsonOption, loaded
from afterfill.errors import UsageError

if TYPE_CHECKING:
    from afterfill.config import Config, Mqtt

mqtt = typer.Typer(help="What was left on a broker of home automation.", no_args_is_help=True)


@mqtt.callback()
def group() -> None:
    """What was left on a broker of home automation."""


@mqtt.command()
def clear(
    host: Annotated[
        str | None, typer.Option(help="Another broker than that of [mqtt], or one of before.")
    ] = None,
    port: Annotated[int, typer.Option(help="Its port.")] = 1883,
    username: Annotated[str | None, typer.Option(help="Our name there.")] = None,
    password_file: Annotated[
        Path | None, typer.Option(help="The file that holds the password.")
    ] = None,
    tls: Annotated[bool, typer.Option("--tls", help="It speaks TLS.")] = False,
    ca_file: Annotated[Path | None, typer.Option(help="Its authority's certificate.")] = None,
    base: Annotated[str | None, typer.Option(help="What our topics began with there.")] = None,
    discovery_prefix: Annotated[
        str | None, typer.Option(help="Where the hub looked for entities.")
    ] = None,
    client_id: Annotated[str | None, typer.Option(help="As whom the service was there.")] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    config: ConfigOption = None,
    as_json: JsonOption = False,
) -> None:
    """Remove this service's entities and states from the broker of [mqtt], or from one of before
    (`--host`). Stop the service first, if it uses that broker: it would say all again.

    Only what is its own: topics that the journal remembers, and those of its tanks.
    """
    from afterfill.cli.console import say, say_json
    from afterfill.journal.store import Journal
    from afterfill.service.only_one import only_one
    from afterfill.sinks.mqtt.clear import Clearing
    from afterfill.sinks.mqtt.ids import client_id as id_of
    from afterfill.sinks.mqtt.present import announced, remember

    settings, journal_path = loaded(config)
    given: dict[str, Any] = {
        "host": host, "port": port, "username": username, "password_file": password_file,
        "tls": tls, "ca_file": ca_file, "base": base, "discovery_prefix": discovery_prefix,
        "client_id": client_id,
    }  # fmt: skip
    broker = _broker(settings, given)
    where = f"{broker.host}:{broker.port}"
    used = settings.mqtt is not None and (settings.mqtt.host, settings.mqtt.port) == (
        broker.host, broker.port
    )  # fmt: skip
    with only_one(journal_path) if used else nullcontext(), Journal.open(journal_path) as journal:
        before = announced(journal)
        service = id_of(broker.client_id, journal.meta("journal"))
        visit = Clearing(settings.model_copy(update={"mqtt": broker}), service, frozenset(before))
        removed = visit.run(lambda found: yes or _agreed(found, where))
        remember(journal, [topic for topic in before if topic not in removed])
    others = sorted(visit.others)
    if as_json:
        say_json({"kind": "mqtt-clear", "broker": where, "removed": removed, "others": others})
        return
    say(f"removed from {where}: {_counted(removed)}" if removed else f"{where}: nothing removed")
    for other in others:
        say(f"left: what is of the service {other}; if that is gone for good: --client-id {other}")


def _broker(config: "Config", given: dict[str, Any]) -> "Mqtt":
    """The broker that is meant. One that is named gets no password of another's."""
    from pydantic import ValidationError

    from afterfill.config import Mqtt
    from afterfill.sentences import first_sentence, known_keys

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
    import sys

    if not sys.stdin.isatty():
        raise UsageError(f"{where} keeps {_counted(found)} of ours; remove them with --yes")
    return typer.confirm(f"{where} keeps {_counted(found)} of ours. Remove them?")


def _counted(topics: list[str]) -> str:
    """How many entities and states, and below what."""
    entities = sum(topic.endswith("/config") for topic in topics)
    below = Counter(t.rsplit("/", 1)[0] for t in topics if not t.endswith("/config"))
    places = ", ".join(f"{number} under {place}" for place, number in sorted(below.items()))
    return f"{entities} entities" + (f", topics: {places}" if places else "")
