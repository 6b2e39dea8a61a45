"""Every block of commands in the documents is run, in the order of its document, or says in its
first line what it needs (`# needs a network`)."""

import re
import shutil
import subprocess
import tomllib
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from itertools import groupby
from pathlib import Path

import pytest
import yaml

from afterfill.config_file import load
from afterfill.journal.store import Journal
from afterfill.simulation.line_device import LineDevice
from afterfill.simulation.pty_port import PtyPort
from cli_room import MEASURED, line_probes, write_config
from document_blocks import DOCUMENTS, ROOT, Block, all_blocks, blocks
from document_room import Room
from servers import free_port

pytestmark = pytest.mark.system
SHELL = all_blocks("sh")
CI = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
BY_HAND = ("systemd/README.md", "By hand")
AS_THE_UNITS_NAME_IT = "/etc/afterfill/afterfill.toml"


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Room]:
    with PtyPort(LineDevice(lambda: MEASURED), tmp_path / "head"), Room(tmp_path) as made:
        yield made


def as_a_package(room: Room, told: list[Block]) -> None:
    version = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["version"]
    (room.here / f"afterfill_{version}_arm64.deb").touch()
    install, start = told
    room.run(install)
    room.configuration = room.root / AS_THE_UNITS_NAME_IT[1:]  # where the program looks by itself
    said = room.run(start, stdin=16 * "\n" + 4 * "-\n", ends_with=1)  # it is learning
    assert "LEARNING" in said or "CANNOT TELL" in said
    assert journal_of(room) == room.root / "var/lib/afterfill/afterfill.db"


def by_hand(room: Room, told: list[Block]) -> None:
    install, upgrade, remove = told
    installed(room, install)
    for _ in range(2):  # now, and next year
        assert "fault" not in room.run(upgrade)
    room.run(remove)
    left = [it for it in room.root.rglob("*") if "afterfill" in it.name and "run" not in it.parts]
    assert left == []


def to_another_pi(room: Room, told: list[Block]) -> None:
    on_the_old, on_the_new = told
    installed(room, next(it for it in SHELL if (it.document, it.heading) == BY_HAND))
    room.run(on_the_old)
    old = number_of_records(room)
    shutil.move(room.root / "var/lib/afterfill/moved.db", room.here)
    shutil.move(room.root / AS_THE_UNITS_NAME_IT[1:], room.here / "afterfill.toml")
    assert "fault" not in room.run(on_the_new)
    assert number_of_records(room) > old


def the_page(room: Room, told: list[Block]) -> None:
    installed(room, next(it for it in SHELL if (it.document, it.heading) == BY_HAND))
    config = room.root / AS_THE_UNITS_NAME_IT[1:]
    (config.parent / "page-password").write_text("a long secret")
    (example,) = (it.text for it in all_blocks("toml") if it.comment == "page: begin")
    config.write_text(
        config.read_text() + example.replace("192.168.1.20:8420", f"127.0.0.1:{free_port()}")
    )
    (install,) = told
    room.run(install)


def dashboards(room: Room, told: list[Block]) -> None:
    (room.root / "etc/grafana/provisioning").mkdir(parents=True)
    (room.root / "etc/systemd/system/grafana-server.service").touch()
    (copy,) = told
    room.run(copy)
    provided = (room.root / "etc/grafana/provisioning/dashboards/afterfill.yaml").read_text()
    (path,) = re.findall(r"path: (\S+)", room.within(provided))
    assert len(list(Path(path).glob("*.json"))) == 5  # as the document says
    rules = yaml.safe_load((Path(path).parent / "alerting" / "afterfill.yaml").read_text())
    assert sum(len(group["rules"]) for group in rules["groups"]) == 4


def without_a_probe(room: Room, told: list[Block]) -> None:
    played, own = told
    (said,) = re.findall(r"It prints `(.*?)`", (ROOT / "drivers/README.md").read_text())
    assert room.sh(played.text.replace("4001", str(free_port()))).stdout == f"{said}\n"
    write_config(room.here, probes=line_probes(room.here.parent / "head"))
    assert "fault" not in room.run(own)


STORIES: Mapping[tuple[str, str], Callable[[Room, list[Block]], None]] = {
    ("daemon/README.md", "At the tank, with a phone"): the_page,
    ("systemd/README.md", "As a package"): as_a_package,
    BY_HAND: by_hand,
    ("systemd/README.md", "To another Pi"): to_another_pi,
    ("grafana_provisioning/README.md", "Dashboards and alert rules"): dashboards,
    ("drivers/README.md", "Try one without a probe"): without_a_probe,
}


def installed(room: Room, install: Block) -> None:
    """Installed by hand as the document says, with a probe head, and running."""
    probes = line_probes(room.here.parent / "head", every_s=0.2)
    write_config(room.here, probes=probes, more='[journal]\npath = "afterfill.db"\n')
    room.run(install, ends_with=1)  # the last command says that it is learning
    assert journal_of(room) == room.root / "var/lib/afterfill/afterfill.db"


def journal_of(room: Room) -> Path:
    return load(room.root / AS_THE_UNITS_NAME_IT[1:]).journal.path


def number_of_records(room: Room) -> int:
    with Journal.open(journal_of(room), read_only=True) as journal:
        return journal.last_seq()


def is_run_by_ci(block: Block) -> bool:
    return block.comment.removesuffix(": begin") in re.findall(r"readme_command (\w+)", CI)


TOLD = [it for it in SHELL if it.needs is None and not is_run_by_ci(it)]


def story_of(block: Block) -> tuple[str, str]:
    return block.document, block.heading


def test_every_block_of_commands_is_run_or_says_what_it_needs() -> None:
    assert len(SHELL) > 10
    assert [str(it) for it in TOLD if story_of(it) not in STORIES] == []


def test_every_block_is_in_a_language_that_is_tested() -> None:
    found = Counter(it.language for name in DOCUMENTS for it in blocks(name))
    assert set(found) == {"sh", "toml", "yaml", "python", ""}
    # A tree of files, a picture of the inference; rules and settings of brokers, which real brokers
    # take in tests/sinks/test_mqtt_authority.py and tests/system/test_bridged_brokers.py.
    assert found[""] == 6


@pytest.mark.parametrize("story", STORIES, ids=" ".join)
def test_the_commands_of_a_document_do_what_they_are_for(
    room: Room, story: tuple[str, str]
) -> None:
    own = {where: list(its) for where, its in groupby(TOLD, story_of)}
    STORIES[story](room, own[story])


@pytest.mark.parametrize("block", SHELL, ids=str)
def test_a_block_is_written_as_a_shell_reads_it_and_names_files_that_are_there(
    block: Block,
) -> None:
    done = subprocess.run(
        ["sh", "-n"], input=block.text, capture_output=True, text=True, check=False
    )
    assert done.stderr == ""
    for file in re.findall(
        r"(?<![\w./-])(?:\.ci|systemd|grafana_provisioning)/[\w./-]*\w", block.text
    ):
        assert (ROOT / file).exists(), file
