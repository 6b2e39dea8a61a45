"""Nothing that a user meets is missing from the README: commands with their options, keys of the
configuration, topics, alarms, measurements."""

import re
from pathlib import Path

import pytest
from pydantic import BaseModel

from afterfill import config, config_source
from afterfill.alarms.definitions import DEFINITIONS
from afterfill.payloads import ALARM_ACTIONS, CORRECTION, PAYLOADS
from afterfill.sinks.influx.points import KINDS
from afterfill.sinks.mqtt.messages import LIVE_KINDS
from every_command import COMMANDS

README = (Path(__file__).parents[2] / "README.md").read_text()
_PUBLISHED_AS = {
    "refill-seen": "refill",
    "alarm-load": "alarm_load",
    "source-belief": "source_belief",
}


TABLES = [
    model
    for model in (*vars(config).values(), *vars(config_source).values())
    if isinstance(model, type) and issubclass(model, BaseModel) and model is not BaseModel
]
KEYS = sorted({field.alias or key for m in TABLES for key, field in m.model_fields.items()})


@pytest.mark.parametrize("name", COMMANDS)
def test_a_command_stands_in_the_readme_with_all_its_options(name: str) -> None:
    rows = re.findall(rf"^\| `afterfill {re.escape(name)}(?: [A-Z]+)*` \|.*$", README, re.MULTILINE)
    assert len(rows) == 1
    options = [p.opts[0] for p in COMMANDS[name].params if p.param_type_name == "option"]
    missing = [o for o in options if o != "--help" and f"`{o}`" not in rows[0]]
    assert not missing


def test_every_row_of_options_is_a_command() -> None:
    rows = re.findall(r"^\| `afterfill ([a-z -]+?)(?: [A-Z]+)*` \|", README, re.MULTILINE)
    assert set(rows) == set(COMMANDS)


def test_every_key_of_the_configuration_stands_in_the_readme() -> None:
    assert len(KEYS) > 50
    assert [key for key in KEYS if not re.search(rf"\b{re.escape(key)}\b", README)] == []


def test_every_alarm_stands_in_the_readme() -> None:
    assert [name for name in DEFINITIONS if f"`{name}`" not in README] == []


def test_every_topic_stands_in_the_readme() -> None:
    told = [_PUBLISHED_AS.get(kind, kind) for kind in LIVE_KINDS]
    commands = [f"/log/{kind}" for kind in (*PAYLOADS, CORRECTION)] + [
        f"/{word}" for word in ALARM_ACTIONS
    ]
    assert [topic for topic in [f"/{kind}" for kind in told] if topic not in README] == []
    assert [topic for topic in commands if topic not in README] == []


def test_every_measurement_stands_in_the_readme() -> None:
    written = [_PUBLISHED_AS.get(kind, kind) for kind in KINDS] + ["limit", "journal"]
    assert [name for name in written if f"`{name}`" not in README] == []
