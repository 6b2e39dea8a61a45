"""What others may rely on, as sorted lines of text: one file each below `tests/golden/promised/`.

`python tests/golden/promises.py` writes what the program promises now. A line that is there is a
promise: `test_promises.py` fails when one is gone. New lines are added with this command, and with
a sentence in CHANGELOG.md.
"""

import dataclasses
import json
import sys
import types
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from afterfill import errors
from afterfill.alarms.definitions import DEFINITIONS
from afterfill.config import Config
from afterfill.config_file import parse
from afterfill.journal.recorded_readings import COLUMNS
from afterfill.payloads import PAYLOADS
from afterfill.record_kinds import TABLE
from afterfill.records import Health, Record, SourceBelieved, StockLeft
from afterfill.service.driver_registry import driver_named, driver_names
from afterfill.sinks.influx import points
from afterfill.sinks.mqtt.discovery import discovery
from afterfill.sinks.mqtt.messages import LIVE_KINDS, record_message
from afterfill.sinks.mqtt.present import kept_topics
from every_command import COMMANDS
from sample_records import SPREAD, START_S, estimate, one_of_each

FOLDER = Path(__file__).parent / "promised"
CONFIGURATION = """
[tank.window]
litres = 120
[source.tap]
disinfectant = "chloramine"
[neutraliser.bottle]
mg_cl2_per_ml = 40
[[probe]]
tank = "window"
quantity = "orp"
driver = "line"
port = "/dev/ttyUSB0"
[mqtt]
host = "broker.example"
[influxdb]
url = "http://localhost:8086"
"""
_NEWER: list[Record] = [
    SourceBelieved(START_S, "window", "tap", "filtered", "chloramine", SPREAD, START_S, 1, 0.1, 0.2,
                   False),
    Health(START_S, "window", "sink mqtt", False, 12.0, 3, "the broker refused us"),
    StockLeft(START_S, "window", "bottle", 40.0, 100.0, START_S, START_S, START_S, 1),
]  # fmt: skip
_HELD = ("unique_id", "state_topic", "command_topic", "value_template", "json_attributes_topic",
         "device_class", "unit_of_measurement", "options")  # fmt: skip


def told() -> list[Record]:
    """One record of each kind that sinks deliver, with all that may be known."""
    seen = dataclasses.replace(
        estimate(START_S), free_ammonia_mg_l=SPREAD, detection_floor_mg_l=0.1, sees=True
    )
    return [*one_of_each(), seen, *_NEWER]


def configuration_keys() -> Iterator[str]:
    """``tank.limits.ph``: every key, with its tables; and the words that may stand there."""
    yield from keys_of(Config)
    for name in driver_names():
        yield from keys_of(driver_named(name).settings, f"probe({name}).")


def keys_of(model: type[BaseModel], where: str = "") -> Iterator[str]:
    """The keys of a table and of those within it."""
    for name, field in model.model_fields.items():
        key = f"{where}{field.alias or name}"
        words = sorted(_words_of(field.annotation))
        yield f"{key}: {', '.join(words)}" if words else key
        for table in _models_in(field.annotation):
            yield from keys_of(table, f"{key}.")


def _models_in(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    elif get_origin(annotation) in (Union, types.UnionType, Annotated, dict, tuple):
        for part in get_args(annotation):
            yield from _models_in(part)


def _words_of(annotation: Any) -> Iterator[str]:
    if get_origin(annotation) is Literal:
        yield from map(str, get_args(annotation))
    elif get_origin(annotation) in (Union, types.UnionType):
        for part in get_args(annotation):
            yield from _words_of(part)


def record_kinds() -> Iterator[str]:
    """Kinds of records with their fields, and the words that a field may hold."""
    for kind in TABLE:
        yield f"{kind.word} ({kind.role})"
        for field in dataclasses.fields(kind.record_type):
            yield f"{kind.word}.{field.name}"


def commands() -> Iterator[str]:
    """Commands with their options and arguments."""
    for name, command in COMMANDS.items():
        yield f"afterfill {name}"
        for it in command.params:
            yield f"afterfill {name} {it.opts[0]}"


def exit_codes() -> Iterator[str]:
    """What each kind of failure ends with."""
    for name, kind in vars(errors).items():
        if isinstance(kind, type) and issubclass(kind, errors.AfterfillError):
            yield f"{name}: {kind.exit_code}"


def alarms() -> Iterator[str]:
    """Alarms with their priority."""
    for name, it in DEFINITIONS.items():
        yield f"{name}: {it.priority}"


def topics() -> Iterator[str]:
    """Topics below the base, and the keys of what is kept there."""
    settings = parse(CONFIGURATION, "here")
    yield from kept_topics(settings, "client")
    for record in told():
        message = record_message("afterfill", record)
        if message is not None:
            yield from (f"{message.topic} {key}" for key in _keys(json.loads(message.payload)))
    yield from (f"afterfill/window/{kind}" for kind in LIVE_KINDS)


def _keys(value: object, path: str = "") -> Iterator[str]:
    if isinstance(value, Mapping):
        for key, inner in value.items():
            yield f"{path}{key}"
            yield from _keys(inner, f"{path}{key}.")


def message_payloads() -> Iterator[str]:
    """What a person or a hub may say, over MQTT and in a recording."""
    for kind, (model, _) in PAYLOADS.items():
        yield from (f"{kind}.{key}" for key in model.model_fields)


def entities() -> Iterator[str]:
    """What a hub finds: what its automations and its history hold on to."""
    for topic, payload in discovery(parse(CONFIGURATION, "here"), "client"):
        yield topic
        for key in _HELD:
            if key in payload:
                yield f"{topic} {key}: {json.dumps(payload[key], ensure_ascii=False)}"


def measurements() -> Iterator[str]:
    """Measurements with their tags and fields."""
    for record_type, word in points._MEASUREMENTS.items():
        yield from (f"{word} tag {tag}" for tag in ("tank", "host", *_tags(record_type)))
    for record in told():
        if type(record) in points._MEASUREMENTS:
            word = points._MEASUREMENTS[type(record)]
            yield from (f"{word} field {name}" for name in points._fields(record))


def _tags(record_type: type[Record]) -> tuple[str, ...]:
    return points._TAGS.get(record_type, ())


def recording() -> Iterator[str]:
    """The columns of a recording's readings; its events are `message_payloads`."""
    yield from (f"readings.csv {column}" for column in ("time", *COLUMNS.values()))


PROMISES: Mapping[str, Callable[[], Iterator[str]]] = {
    made.__name__: made
    for made in (configuration_keys, record_kinds, commands, exit_codes, alarms, topics,
                 message_payloads, entities, measurements, recording)
}  # fmt: skip


def write() -> None:
    """What is promised now, added to what was."""
    FOLDER.mkdir(exist_ok=True)
    for name, made in PROMISES.items():
        file = FOLDER / f"{name}.txt"
        before = file.read_text(encoding="utf-8").splitlines() if file.exists() else []
        text = "\n".join(sorted({*before, *made()})) + "\n"
        file.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    write()
