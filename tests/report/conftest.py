"""The demo's journal, made once: a week with a good water change and a top-off that went wrong."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from afterfill.journal.store import Journal
from cli_room import afterfill


@pytest.fixture(scope="session")
def demo_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder: Path = tmp_path_factory.mktemp("report") / "demo"
    assert afterfill("demo", "--fast", "--json", "--out", str(folder)).exit_code == 0
    return folder


@pytest.fixture
def demo_journal(demo_folder: Path) -> Iterator[Journal]:
    with Journal.open(demo_folder / "afterfill.db", read_only=True) as journal:
        yield journal
