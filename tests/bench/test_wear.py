"""A short wear bench: memory and CPU within their bars; writes do not grow past what is known."""

from pathlib import Path

import pytest

from bench.wear import in_own_process

RESIDENT_MB = 80.0
CORE = 0.007
WRITTEN_MB_AT_1_HZ = 120.0  # 86 as measured; the aim of 10 is not met


@pytest.mark.parametrize("watched", [False, True])
def test_one_tank_at_one_hertz(tmp_path: Path, watched: bool) -> None:
    wear = in_own_process(1, 0.5, tmp_path, watched=watched)
    assert wear.resident_mb < RESIDENT_MB
    assert wear.core < CORE
    assert wear.written_mb < WRITTEN_MB_AT_1_HZ


def test_ten_tanks_take_a_tenth_of_half_a_core(tmp_path: Path) -> None:
    assert in_own_process(10, 0.1, tmp_path, watched=False).core < 0.05
