import logging

import pytest

from afterfill.records import Stamp
from afterfill.service.clock_steps import ClockSteps


def stamp(wall_s: float, monotonic_s: float) -> Stamp:
    return Stamp(1_800_000_000.0 + wall_s, True, "boot", monotonic_s)


@pytest.mark.parametrize(
    ("wall_s", "said"),
    [(-3540.0, "set back by 3600 s"), (1e9 + 60.0, "set forward by 1000000000 s")],
)
def test_a_clock_that_was_set_is_told_once(
    wall_s: float, said: str, caplog: pytest.LogCaptureFixture
) -> None:
    steps = ClockSteps()
    assert steps.look(stamp(0.0, 100.0), "t") == []
    with caplog.at_level(logging.WARNING):
        (told,) = steps.look(stamp(wall_s, 160.0), "t")
    assert said in told.detail
    assert [said in record.message for record in caplog.records] == [True]
    assert steps.look(stamp(wall_s + 60.0, 220.0), "t") == []


def test_a_clock_that_is_slewed_is_not_told() -> None:
    steps = ClockSteps()
    for minute in range(10):
        assert steps.look(stamp(62.0 * minute, 60.0 * minute), "t") == []


def test_another_boot_is_no_step() -> None:
    steps = ClockSteps()
    steps.look(stamp(0.0, 100.0), "t")
    assert steps.look(Stamp(1.0, True, "another", 5.0), "t") == []
