"""The bench of the sinks' speed runs, and the database's is not far from its client's."""

from pathlib import Path

import pytest

from bench.delivery_rate import back_filled, published

pytestmark = pytest.mark.system


def test_points_come_nearly_as_fast_as_by_the_raw_client(tmp_path: Path) -> None:
    """The bench's bar is 0.9; beside other tests on two cores less is asked."""
    rate, _ = back_filled(6000, tmp_path)
    assert rate.share > 0.5, rate.row()


def test_messages_are_counted(tmp_path: Path) -> None:
    (rate,) = published(1000, tmp_path)
    assert rate.sink > 100.0, rate.row()
