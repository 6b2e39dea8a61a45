from pathlib import Path

import pytest

from system.killing import killed

pytestmark = pytest.mark.system


@pytest.mark.timeout(120)
def test_forty_kills_lose_and_double_nothing(tmp_path: Path) -> None:
    found = killed(40, tmp_path / "journal.db", seed=815)
    assert found.acknowledged > found.kills
    assert (found.lost, found.doubled) == (0, 0)
