"""What the documents show besides commands is what the program takes and says: configuration, JSON,
messages of a hub, a driver, files."""

import json
import re
import subprocess
import sys
import tomllib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest
import yaml
from pydantic import BaseModel, ValidationError

from afterfill import config as tables
from afterfill import config_source
from afterfill.config import Config
from afterfill.config_file import parse
from afterfill.journal.store import Journal
from afterfill.payloads import event_from
from afterfill.records import Record, Refill, RefillReady, SourceLearnt, StockLeft
from afterfill.service.driver_registry import driver_named, driver_names, ports_of
from afterfill.simulation.pty_port import PtyPort
from afterfill.sinks.mqtt.alarms import AlarmStates
from afterfill.sinks.mqtt.discovery import discovery
from afterfill.sinks.mqtt.messages import record_message
from afterfill.sinks.mqtt.sources import belief_message
from afterfill_drivers.mqtt.payloads import found
from afterfill_drivers.mqtt.settings import MqttSettings
from document_blocks import DOCUMENTS, ROOT, Block, all_blocks
from mqtt_peers import config_for, obeying
from sample_records import START_S, standing, store
from servers import Broker, wait_until

REFERENCE = DOCUMENTS["daemon/README.md"].read_text(encoding="utf-8")
TEXTS = {name: path.read_text(encoding="utf-8") for name, path in DOCUMENTS.items()}
DRIVERS = [it for it in all_blocks("toml", "python") if it.heading == "One of your own"]
TOML = [it for it in all_blocks("toml") if it not in DRIVERS]
NAMED = pytest.mark.parametrize("name", DOCUMENTS)


# --- configuration ---


@pytest.mark.parametrize("block", TOML, ids=str)
def test_a_block_of_the_configuration_can_be_used(block: Block) -> None:
    assert parse_completed(block.text)


def parse_completed(fragment: str) -> Config:
    """The fragment, with the tank, and the broker, that it leaves out. Its probes too."""
    tank = "" if "[tank." in fragment else "[tank.window]\nlitres = 100\n"
    broker = '\n[mqtt]\nhost = "broker.example"\n'
    needs_broker = 'driver = "mqtt"' in fragment and "[mqtt]" not in fragment
    config = parse(f"{tank}{fragment}{broker if needs_broker else ''}", "README.md", Path("/etc"))
    ports_of(config)
    return config


MODELS = [
    *(it for module in (tables, config_source) for it in vars(module).values()
      if isinstance(it, type) and issubclass(it, BaseModel)),
    *(driver_named(name).settings for name in driver_names()),
]  # fmt: skip
KEYS = {field.alias or key for model in MODELS for key, field in model.model_fields.items()}


def setting_of(span: str) -> dict[str, Any] | None:
    """``top_off = "told"``, with the tables before it, as a program reads it; else None."""
    try:
        read = tomllib.loads(span.replace("] ", "]\n") if span.startswith("[") else span)
    except tomllib.TOMLDecodeError:
        return None
    while (
        len(read) == 1 and isinstance(inner := next(iter(read.values())), dict) and span[0] == "["
    ):
        read = inner
    return read if read and set(read) <= KEYS else None


_SPAN = re.compile(r"`([^`\n]+ = [^`\n]+)`")
SPANS = {
    span: said
    for text in TEXTS.values()
    for span in _SPAN.findall(text)
    if (said := setting_of(span)) is not None
}


def test_settings_in_a_sentence_are_found() -> None:
    assert len(SPANS) > 10
    assert "top_off" in SPANS['top_off = "told"']


@pytest.mark.parametrize("span", SPANS)
def test_a_setting_in_a_sentence_is_one_that_some_table_takes(span: str) -> None:
    for key, value in SPANS[span].items():
        assert any(takes(model, key, value) for model in MODELS), key


def takes(model: type[BaseModel], key: str, value: object) -> bool:
    names = {field.alias or name for name, field in model.model_fields.items()}
    if key not in names:
        return False
    try:
        model.model_validate({key: value})
    except ValidationError as error:
        return not any(it["loc"][:1] == (key,) for it in error.errors())
    return True


# --- what a hub hears and says ---


def row_of(topic: str) -> str:
    (row,) = [line for line in REFERENCE.splitlines() if line.startswith(f"| `afterfill/{topic}`")]
    return row


def keys_shown(row: str) -> set[str]:
    """The keys of the object in a row: ``{"standing": "safe", "since"}`` has two."""
    shown = re.findall(r"`\{(.*?)\}`", row)[0]
    return set(re.findall(r'(?:^|, )"(\w+)"(?=[:,]|$)', re.sub(r"\[.*?\]", "0", shown)))


CONFIG = config_for(1883)
_TAP = SourceLearnt(START_S, "window", "tap", 0.1, 0.2, START_S, 1, 0.0)


def published(record: Record) -> str:
    message = record_message("afterfill", record)
    assert message is not None
    return message.payload


SAID: Mapping[str, Callable[[], str]] = {
    "TANK/standing": lambda: published(standing(START_S)),
    "TANK/refill-ready": lambda: published(
        RefillReady(START_S, "window", False, ("probe in air",))
    ),
    "TANK/alarms": lambda: AlarmStates(CONFIG).summary("afterfill", "window", START_S).payload,
    "TANK/stock-left": lambda: published(
        StockLeft(START_S, "window", "n", 4.0, 1.0, 1.0, 1.0, 1.0, 1)
    ),
    "source/ID/belief": lambda: belief_message(CONFIG, "afterfill", _TAP, "client").payload,
}
ENVELOPE = {"kind", "tank", "time"}  # of every record


@pytest.mark.parametrize("topic", SAID)
def test_a_message_has_the_keys_that_are_shown(topic: str) -> None:
    assert keys_shown(row_of(topic)) == set(json.loads(SAID[topic]())) - ENVELOPE


def test_every_object_in_the_table_of_topics_is_held_against_the_program() -> None:
    rows = re.findall(r"^\| `afterfill/(\S+)`.*`\{", REFERENCE, re.MULTILINE)
    assert set(rows) == {*SAID, *COMMANDS, "TANK/answer"}


ANSWER = "afterfill/window/answer"
COMMANDS: Mapping[str, str] = {
    "TANK/log/refill": "log/refill",
    "TANK/log/correction": "log/correction",
    "TANK/alarm/NAME/acknowledge": "alarm/ph/{}",
}


def commands() -> list[tuple[str, str]]:
    """The topic below the tank and the payload of each example, in order."""
    found = []
    for row, topic in COMMANDS.items():
        for payload in re.findall(r"`(\{[^`]*\})`", row_of(row)):
            action = "shelve" if "minutes" in payload else "out-of-service"
            found.append((topic.format(action), payload))
    return found


@pytest.mark.system
def test_every_command_that_is_shown_is_obeyed(tmp_path: Path) -> None:
    examples = commands()
    assert len(examples) == 5
    with (
        Broker(tmp_path / "broker") as broker,
        Journal.open(tmp_path / "journal.db") as journal,
        obeying(journal, broker.port) as listener,
    ):
        for topic, payload in examples:
            refill = store(journal, Refill(START_S, "window", "replace", litres=30.0))
            listener.send(f"afterfill/window/{topic}", payload.replace("1234", str(refill)))
        wait_until(lambda: len(listener.payloads(ANSWER)) == len(examples), "the answers")
    answers = [json.loads(payload) for payload in listener.payloads(ANSWER)]
    assert [it.get("error") for it in answers] == [None] * len(examples)


@pytest.mark.parametrize(
    ("text", "key", "value"),
    [("2,5", "litres", 2.5), ("10 US gal", "litres", 37.854), ("5 ml", "neutraliser_ml", 5.0)],
)
def test_a_number_as_people_type_it_is_taken_from_a_hub(text: str, key: str, value: float) -> None:
    assert f'`"{text}"`' in REFERENCE
    refill = event_from("refill", {key: text}, tank="window", time_s=START_S)
    assert getattr(refill, key) == pytest.approx(value, abs=1e-3)


def test_the_automation_asks_the_entity_that_is_announced() -> None:
    (block,) = all_blocks("yaml")
    (automation,) = yaml.safe_load(block.text)["automation"]
    (condition,) = automation["conditions"]
    known = {payload["default_entity_id"] for _, payload in discovery(CONFIG, "client")}
    assert condition["entity_id"] in known
    assert condition["state"] == "on"


def test_the_wireless_probe_finds_its_number_in_the_message_that_is_shown() -> None:
    (block,) = [it for it in TOML if it.text.startswith("[[probe]]")]
    (payload,) = re.findall(r"# (\{.*\})", block.text)
    (probe,) = parse_completed(block.text).probe
    settings = MqttSettings.model_validate(probe.driver_keys)
    assert found(payload.encode(), settings.path) == 7.21


# --- a driver of one's own ---


class Head:
    """Answers `T<CR>` with its temperature."""

    def answer(self, received: bytes) -> bytes:
        return b"24.81\r\n" if received == b"T\r" else b""


def test_the_driver_that_is_shown_reads_a_line(tmp_path: Path) -> None:
    module, project, configuration = (it.text for it in DRIVERS)
    entry = tomllib.loads(project)["project"]
    names = entry["entry-points"]["afterfill.drivers"]
    ((name, where),) = names.items()
    (tmp_path / f"{where.partition(':')[0]}.py").write_text(module)
    installed = tmp_path / f"{entry['name'].replace('-', '_')}-{entry['version']}.dist-info"
    installed.mkdir()
    (installed / "METADATA").write_text(f"Name: {entry['name']}\nVersion: {entry['version']}\n")
    (installed / "entry_points.txt").write_text(f"[afterfill.drivers]\n{name} = {where}\n")
    own = re.sub(r'port = ".*"', f'port = "{tmp_path / "head"}"', configuration)
    (tmp_path / "afterfill.toml").write_text(f"[tank.window]\nlitres = 100\n{own}")
    with PtyPort(Head(), tmp_path / "head"):
        done = subprocess.run(
            [sys.executable, "-m", "afterfill.cli.main", "probe", "read"], cwd=tmp_path,
            env={"PATH": "/usr/bin", "PYTHONPATH": str(tmp_path)}, capture_output=True, text=True,
            timeout=30, check=False,
        )  # fmt: skip
    assert f"prints `{done.stdout.strip()}`" in TEXTS["drivers/README.md"], done


# --- files and tables ---


@NAMED
def test_every_file_of_the_tests_that_is_named_is_there(name: str) -> None:
    named = re.findall(r"(?<![\w./])(?:tests|\.ci)/[\w./-]*\w", TEXTS[name])
    missing = [it for it in named if not (ROOT / it).exists() and "PROTOCOL" not in it]
    assert missing == []


def test_the_tree_of_the_inference_is_the_folder() -> None:
    (tree,) = [it.text for it in all_blocks("") if it.text.startswith("inference/")]
    folder = ROOT / "daemon" / "afterfill" / "inference"
    inside = ""
    for indent, named in re.findall(r"^( +)(\S+)", tree, re.MULTILINE):
        if len(indent) == 2:
            inside = named if named.endswith("/") else ""
        assert (folder / (inside if len(indent) > 2 else "") / named).exists(), named


@NAMED
def test_every_table_is_one_to_who_draws_it(name: str) -> None:
    """A row of dashes comes second, and each row has as many cells as the first one."""
    for table in re.findall(r"(?:^\|.*\n)+", TEXTS[name], re.MULTILINE):
        head, dashes, *rows = (re.sub(r"`[^`]*`", "", it).count("|") for it in table.splitlines())
        assert re.fullmatch(r"\|(?: ?-+ ?\|)+", table.splitlines()[1]), table.splitlines()[0]
        assert {dashes, *rows} == {head}, table.splitlines()[0]
