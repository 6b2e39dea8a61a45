from collections.abc import Iterator
from pathlib import Path

import pytest

from servers import Broker


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    with Broker(tmp_path / "broker") as it:
        assert isinstance(it, Broker)
        yield it
