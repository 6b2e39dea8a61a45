"""README and sample of each driver say what its settings are."""

import re
import tomllib
from importlib.metadata import entry_points
from pathlib import Path
from typing import Any, get_args

import pytest
from pydantic import ValidationError

import afterfill_drivers
from afterfill.config_file import parse
from afterfill.records import InvalidReason
from afterfill.service.driver_registry import ports_of
from transcript_sessions import driver

ROOT = Path(afterfill_drivers.__file__).parent
NAMES = sorted(entry.name for entry in entry_points(group="afterfill.drivers"))
CORE_KEYS = {"tank", "quantity", "driver", "port", "every_s", "reference", "offset"}


def keys_of(name: str) -> set[str]:
    fields = driver(name).settings.model_fields
    return {field.alias or key for key, field in fields.items()}


def sample_tables(name: str) -> list[dict[str, Any]]:
    tables: list[dict[str, Any]] = tomllib.loads((ROOT / name / "sample.toml").read_text())["probe"]
    return tables


def test_the_four_drivers_are_found() -> None:
    assert {"line", "modbus", "mqtt", "onewire"} <= set(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_table_of_the_readme_has_every_setting_and_no_other(name: str) -> None:
    rows = re.findall(r"^\| `(\w+)` \|", (ROOT / name / "README.md").read_text(), re.M)
    assert sorted(rows) == sorted(keys_of(name))


@pytest.mark.parametrize("name", NAMES)
def test_defaults_in_the_readme_are_the_real_ones(name: str) -> None:
    text = (ROOT / name / "README.md").read_text()
    for key, field in driver(name).settings.model_fields.items():
        (said,) = re.findall(rf"^\| `{field.alias or key}` \| `?([^|`]+?)`? \|", text, re.M)
        if field.is_required():
            assert said == "required"
        elif field.default not in (None, ()) and said != "none":
            assert tomllib.loads(f"key = {said}")["key"] == field.default


@pytest.mark.parametrize("name", NAMES)
def test_sample_can_be_used(name: str) -> None:
    for table in sample_tables(name):
        own = {key: value for key, value in table.items() if key not in CORE_KEYS}
        assert driver(name).settings.model_validate(own)


@pytest.mark.parametrize("name", NAMES)
def test_unknown_setting_is_refused(name: str) -> None:
    table = sample_tables(name)[0]
    own = {key: value for key, value in table.items() if key not in CORE_KEYS}
    with pytest.raises(ValidationError, match="extra_forbidden"):
        driver(name).settings.model_validate(own | {"colour": "blue"})


@pytest.mark.parametrize(
    ("name", "keys", "said"),
    [
        ("line", {"pattern": "("}, "no regular expression"),
        ("line", {"pattern": "x", "column": 1}, "not both"),
        ("line", {"request": "→"}, "not one byte"),
        ("line", {"error_replies": ["["]}, "no regular expression"),
        ("modbus", {"device": 1, "register": 65535, "type": "int32"}, "two registers"),
        ("onewire", {"sensor": "../etc"}, "pattern"),
    ],
)
def test_unusable_settings_are_refused(name: str, keys: dict[str, Any], said: str) -> None:
    with pytest.raises(ValidationError, match=said):
        driver(name).settings.model_validate(keys)


README = (ROOT.parent / "README.md").read_text()


def test_every_driver_and_reason_stands_in_the_readme_of_all() -> None:
    rows = re.findall(r"^\| \[`(\w+)`\]\(afterfill_drivers/(\w+)/README\.md\) \|", README, re.M)
    assert sorted(rows) == [(name, name) for name in NAMES]
    assert sorted(re.findall(r"^\| `([\w-]+)` \|", README, re.M)) == sorted(get_args(InvalidReason))


@pytest.mark.parametrize("name", NAMES)
def test_a_sample_is_a_configuration_that_can_be_used(name: str) -> None:
    text = (ROOT / name / "sample.toml").read_text()
    tanks = {table["tank"] for table in tomllib.loads(text)["probe"]}
    head = "".join(f"[tank.{tank}]\nlitres = 100\n" for tank in sorted(tanks))
    assert ports_of(parse(f'{head}[mqtt]\nhost = "broker.example"\n{text}', "sample.toml"))
