import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from afterfill.journal.store import Journal
from servers import Broker, Engine


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Tests that start a home-automation hub are chosen by naming its program."""
    if "AFTERFILL_HUB" not in os.environ:
        left_out = [item for item in items if item.get_closest_marker("hub")]
        config.hook.pytest_deselected(items=left_out)
        items[:] = [item for item in items if item not in left_out]


@pytest.fixture(scope="module")
def shared_broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Broker]:
    with Broker(tmp_path_factory.mktemp("broker")) as broker:
        assert isinstance(broker, Broker)
        yield broker


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    with Broker(tmp_path / "broker") as broker:
        assert isinstance(broker, Broker)
        yield broker


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    with Journal.open(tmp_path / "journal.db") as opened:
        yield opened


@pytest.fixture(scope="module")
def engine(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Engine]:
    with Engine(tmp_path_factory.mktemp("engine")) as server:
        assert isinstance(server, Engine)
        yield server


@pytest.fixture
def database(engine: Engine) -> Engine:
    engine.query('DROP DATABASE "afterfill"')
    engine.query('CREATE DATABASE "afterfill"')
    return engine
