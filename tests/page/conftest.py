"""A page on a tank whose last refill carried over, for a file of tests; and its keeper."""

import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from cli_room import running
from page_room import Asker, Served, a_day, carried_over, configured, served


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("page")


@pytest.fixture(scope="module")
def page(folder: Path) -> Iterator[Served]:
    config = configured(folder)
    a_day(folder, *carried_over(round(time.time())))
    with running(folder), served(config) as room:
        yield room


@pytest.fixture(scope="module")
def keeper(page: Served) -> Asker:
    return page.keeper()
