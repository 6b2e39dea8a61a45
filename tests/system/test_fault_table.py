"""Each fault of the table a few times; `python tests/system/fault_table.py` makes them often."""

from pathlib import Path

import pytest

from system.fault_table import FAULTS, printed

pytestmark = pytest.mark.system
# Real mail servers take their time: tests/notify_room.py shortens it. The writer is
# killed in test_killing.py, and I/O errors are among the n-th calls.
ELSEWHERE = {"service hangs", "full disk and mail", "killed writer", "I/O errors"}


@pytest.mark.parametrize("name", sorted(FAULTS.keys() - ELSEWHERE))
def test_a_fault_loses_and_doubles_nothing_and_is_told(name: str, tmp_path: Path) -> None:
    fault = FAULTS[name]
    row = fault.make(fault.quick, tmp_path / "made")
    assert row.fault == name
    assert row.is_sound, printed(row)
