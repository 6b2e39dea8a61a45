"""Nothing that a user meets is missing from the documents: commands with their options, keys of
the configuration, topics, alarms, measurements. What they show can be used, and links lead on."""

import json
import re
from pathlib import Path

import pytest
from pydantic import BaseModel
from pydantic_core import PydanticUndefined

from afterfill import config, config_source
from afterfill.alarms.definitions import DEFINITIONS
from afterfill.chemistry.limits import default_limits
from afterfill.config_file import parse
from afterfill.payloads import ALARM_ACTIONS, CORRECTION, PAYLOADS
from afterfill.ports import FEED
from afterfill.service.driver_registry import driver_names
from afterfill.sinks.influx.points import KINDS
from afterfill.sinks.mqtt.messages import LIVE_KINDS
from every_command import COMMANDS

ROOT = Path(__file__).parents[2]
DOCUMENTS = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted(ROOT.glob("*/README.md")),
             *sorted(ROOT.glob("drivers/*/*/README.md"))]  # fmt: skip
README = (ROOT / "daemon" / "README.md").read_text()  # the reference
_LINK = re.compile(r"\]\(([^)#\s]*)(?:#([^)\s]*))?\)")
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
def test_a_command_stands_in_the_reference_with_all_its_options(name: str) -> None:
    rows = re.findall(rf"^\| `afterfill {re.escape(name)}(?: [A-Z]+)*` \|.*$", README, re.MULTILINE)
    assert len(rows) == 1
    options = [p.opts[0] for p in COMMANDS[name].params if p.param_type_name == "option"]
    missing = [o for o in options if o != "--help" and f"`{o}`" not in rows[0]]
    assert not missing


def test_every_row_of_options_is_a_command() -> None:
    rows = re.findall(r"^\| `afterfill ([a-z -]+?)(?: [A-Z]+)*` \|", README, re.MULTILINE)
    assert set(rows) == set(COMMANDS)


def test_every_key_of_the_configuration_stands_in_the_reference() -> None:
    assert len(KEYS) > 50
    assert [key for key in KEYS if not re.search(rf"\b{re.escape(key)}\b", README)] == []


ROWS: dict[str, type[BaseModel]] = {
    "[units]": config.Units, "[tank.ID]": config.Tank, "[tank.ID.limits]": config.Limits,
    "[source.ID]": config_source.Source, "[[source.ID.change]]": config_source.SourceChange,
    "[neutraliser.ID]": config.Neutraliser, "[[probe]]": config.Probe, "[mqtt]": config.Mqtt,
    "[influxdb]": config.Influxdb, "[[notify]]": config.Notify, "[notify.smtp]": config.Smtp,
    "[page]": config.Page, "[journal]": config.JournalSettings,
}  # fmt: skip
_OF_ITS_OWN = {"limits", "change", "driver_keys"}  # a row of its own, or a README
_KEY = re.compile(r"`(\w+)`(?: \(([^;,)]*))?")


@pytest.mark.parametrize("table", ROWS)
def test_the_row_of_a_table_has_its_keys_with_their_real_defaults(table: str) -> None:
    (row,) = re.findall(rf"^\| `{re.escape(table)}` \| (.*) \|$", README, re.MULTILINE)
    said = dict(_KEY.findall(row))
    fields = {field.alias or key: field for key, field in ROWS[table].model_fields.items()}
    assert set(fields) - _OF_ITS_OWN <= set(said)
    for key, default in said.items():
        if key in fields and fields[key].default not in (None, PydanticUndefined):
            real = fields[key].default
            written = json.loads(default)
            assert written == (str(real) if isinstance(real, Path) else real), key


def test_the_limits_of_livestock_are_the_real_ones() -> None:
    rows = re.findall(r"^\| (`\w+`.*?) \| ([\d.]+) \(.*?\) \| ([\d.]+) \(", README, re.MULTILINE)
    said = {name: figures for names, *figures in rows for name in re.findall(r"`(\w+)`", names)}
    assert set(said) == {"salmonid", "warmwater", "sensitive"}
    for name, figures in said.items():
        real = default_limits(name)
        shown = [real.residual_oxidant_mg_l.value, real.free_ammonia_mg_l.value]
        assert [f"{value:.3g}" for value in shown] == figures


@pytest.mark.parametrize("name", driver_names())
def test_every_driver_and_its_readme_stand_in_the_reference(name: str) -> None:
    assert f"[`{name}`](../drivers/afterfill_drivers/{name}/README.md)" in README


@pytest.mark.parametrize("spelling", ["socket://", "rfc2217://", "tcp://", FEED])
def test_every_spelling_of_a_port_stands_in_the_reference_and_with_its_drivers(
    spelling: str,
) -> None:
    assert re.search(rf"^\| `{re.escape(spelling)}.*` \|", README, re.MULTILINE)
    drivers = {"socket://": ["line", "modbus"], "rfc2217://": ["line", "modbus"]}
    for name in drivers.get(spelling, ["modbus" if spelling == "tcp://" else "mqtt"]):
        folder = ROOT / "drivers" / "afterfill_drivers" / name
        assert spelling in (folder / "README.md").read_text()


def test_every_alarm_stands_in_the_reference() -> None:
    assert [name for name in DEFINITIONS if f"`{name}`" not in README] == []


def test_every_topic_stands_in_the_reference() -> None:
    told = [_PUBLISHED_AS.get(kind, kind) for kind in LIVE_KINDS]
    commands = [f"/log/{kind}" for kind in (*PAYLOADS, CORRECTION)] + [
        f"/{word}" for word in ALARM_ACTIONS
    ]
    assert [topic for topic in [f"/{kind}" for kind in told] if topic not in README] == []
    assert [topic for topic in commands if topic not in README] == []


def test_every_measurement_stands_in_the_reference() -> None:
    written = [_PUBLISHED_AS.get(kind, kind) for kind in KINDS] + ["limit", "journal"]
    assert [name for name in written if f"`{name}`" not in README] == []


def test_the_readme_is_short() -> None:
    assert len((ROOT / "README.md").read_text().split()) < 1700


def test_the_readmes_first_configuration_can_be_used() -> None:
    text = (ROOT / "README.md").read_text()
    toml = text.split("<!-- first configuration: begin -->\n```toml\n")[1].split("```")[0]
    assert {probe.quantity for probe in parse(toml, "README.md").probe} == {"orp", "ph"}


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_every_link_within_the_project_leads_somewhere(document: Path) -> None:
    for path, heading in _LINK.findall(document.read_text()):
        if "://" in path:
            continue
        target = document if not path else (document.parent / path).resolve()
        assert target.exists(), path
        if heading:
            assert heading in _headings(target), heading


def _headings(document: Path) -> set[str]:
    """As the usual sites name them: small letters, hyphens for blanks, no other signs."""
    found = re.findall(r"^#+ (.*)$", document.read_text(), re.MULTILINE)
    return {re.sub(r"[^\w -]", "", line.lower()).replace(" ", "-") for line in found}


_SPAN = re.compile(r"`afterfill ([^`\n]+)`")
_LINE = re.compile(r"(?:^|&& |/bin/|-u afterfill )afterfill ([a-z-][^\n|>&;#]*)", re.MULTILINE)
_OPTION = re.compile(r"(?<!\S)(--[a-z][a-z-]*)")
_PROGRAM = {"--version", "--install-completion", "--help"}  # options of no command


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_every_command_that_a_document_names_is_one_with_these_options(document: Path) -> None:
    text = document.read_text()
    blocks = re.findall(r"```sh\n(.*?)```", text, re.DOTALL)
    lines = [line for block in blocks for line in _LINE.findall(block)]
    for said in [*_SPAN.findall(text), *lines]:
        words = said.split()
        named = [name for name in COMMANDS if said == name or said.startswith(f"{name} ")]
        grouped = [name for name in COMMANDS if name.split()[0] == words[0]]
        assert named or grouped or set(words) & _PROGRAM or words[0].isupper(), said
        known = {option for name in named or grouped for it in COMMANDS[name].params
                 for option in it.opts} | _PROGRAM  # fmt: skip
        assert set(_OPTION.findall(said)) <= known, said
