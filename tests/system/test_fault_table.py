"""Each fault of the table a few times; `python tests/system/fault_table.py` makes them often."""

from pathlib import Path

import pytest

from system.fault_table import FAULTS, printed

pytestmark = pytest.mark.system
# 25 s for the time-out of one mail server: tests/sinks/test_notify_sink.py shortens it; and
# test_killing.py kills the writer.
ELSEWHERE = {"service hangs", "killed writer"}


@pytest.mark.parametrize("name", sorted(FAULTS.keys() - ELSEWHERE))
def test_a_fault_loses_and_doubles_nothing_and_is_told(name: str, tmp_path: Path) -> None:
    fault = FAULTS[name]
    row = fault.make(fault.quick, tmp_path / "made")
    assert row.fault == name
    assert row.is_sound, printed(row)
