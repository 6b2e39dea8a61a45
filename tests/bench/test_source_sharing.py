from pathlib import Path

import pytest

from bench.source_sharing import shared


@pytest.mark.system
def test_tanks_of_three_services_know_within_five_seconds(tmp_path: Path) -> None:
    assert max(shared(6, 3, tmp_path, started_s=5.0)) < 5.0
