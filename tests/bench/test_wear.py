"""A short wear bench on a real disk: card, memory and CPU within their bars."""

import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from afterfill.journal.store import Journal
from afterfill.records import Reading, Stamp
from bench import wear
from bench.written import PAGE_BYTES, PageMeter, meter

RESIDENT_MB = 80.0
CORE = 0.007
WRITTEN_MB = 10.0  # 8.7 as measured
WITH_A_REFILL_MB = 11.0  # 9.9 as measured


@pytest.fixture
def disk() -> Iterator[Path]:
    """A folder in the checkout: what systems give as temporary is often kept in memory only."""
    folder = Path(tempfile.mkdtemp(prefix=".wear-", dir=Path(__file__).parents[2]))
    yield folder
    shutil.rmtree(folder)


@pytest.mark.timeout(300)  # a disk may take 10 ms for each of 9000 flushes
@pytest.mark.parametrize(
    ("watched", "hours", "bar_mb"),
    [
        pytest.param(False, 8.0, WRITTEN_MB, id="quiet"),
        pytest.param(True, 24.0, WITH_A_REFILL_MB, id="a day with a refill"),
    ],
)
def test_one_tank_at_one_hertz(disk: Path, watched: bool, hours: float, bar_mb: float) -> None:
    found = wear.in_own_process(1, hours, disk, watched=watched)
    assert found.resident_mb < RESIDENT_MB
    assert found.core < CORE
    assert found.written_mb < bar_mb


def test_pages_are_counted_where_the_kernel_counts_nothing(tmp_path: Path) -> None:
    journal = tmp_path / "j.db"
    journal.write_bytes(bytes(3 * PAGE_BYTES))
    pages = PageMeter(journal)
    with journal.open("r+b") as file:
        file.seek(PAGE_BYTES + 7)
        file.write(b"x")
    pages.write_back()
    Path(f"{journal}-tail").write_bytes(b"y" * (PAGE_BYTES + 1))
    pages.write_back()
    pages.write_back()
    assert pages.written_bytes() == 3 * PAGE_BYTES


def test_both_meters_find_nearly_the_same(disk: Path) -> None:
    """On a disk that the kernel counts; where it does not, both are the same."""
    path = disk / "j.db"
    with Journal.open(path) as journal:
        meters = meter(path), PageMeter(path)
        for number in range(200):
            journal.append(Reading(float(number), "t", "orp", number / 7), Stamp(0, True, "", 0))
            if number % 20 == 0:
                journal.save_snapshot("t", number, b"state")
            journal.commit()
            for one in meters:
                one.write_back()
        found = [one.written_bytes() for one in meters]
    assert found[0] == pytest.approx(found[1], rel=0.1)


def test_ten_tanks_take_a_tenth_of_half_a_core(tmp_path: Path) -> None:
    assert wear.in_own_process(10, 0.1, tmp_path, watched=False).core < 0.05
