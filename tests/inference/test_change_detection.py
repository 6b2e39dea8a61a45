"""Each bound of what stands out in quiet times, on both of its sides."""

from typing import Any

import pytest

from afterfill.inference.monitor.baseline import READY_S, Baseline
from afterfill.inference.monitor.change_detection import felt, looked, raised

QUIET = Baseline(300.0, READY_S, 0.0, 300.0, 1.0, warmth_c=0.0, usual_c=0.0, slower_c=0.0)


@pytest.mark.parametrize(("known", "most_mv"), [
    ({}, 308.0),
    ({"noise_mv": 2.0}, 312.0),
    ({"usual_mv": 310.0}, 318.0),  # coming back from below is no oxidant
    ({"usual_mv": 290.0}, 308.0),
])  # fmt: skip
def test_the_orp_stands_out_beyond_eight_millivolts_and_six_times_its_noise(
    known: dict[str, Any], most_mv: float
) -> None:
    level = QUIET._replace(**known)
    assert looked(level, most_mv, None).over == 0
    assert looked(level, most_mv + 0.1, None).over == 1


@pytest.mark.parametrize(("temperature_c", "source_c", "is_water"), [
    (-0.4, None, False), (-0.41, None, True), (0.8, None, False), (0.81, None, True),
    (0.4, 10.0, False), (0.41, 10.0, True), (-0.4, -10.0, False), (-0.41, -10.0, True),
    (-5.0, -2.0, True), (-5.01, -2.0, False), (5.0, 2.0, True), (5.01, 2.0, False),
    (1.0, -3.0, True), (1.0, -3.1, False), (-1.0, -3.1, True),
    (-1.0, 3.0, True), (-1.0, 3.1, False), (1.0, 3.1, True),
    (None, None, False), (None, 10.0, False),
])  # fmt: skip
def test_water_drives_a_tank_of_nought_degrees_towards_its_source_and_no_further(
    temperature_c: float | None, source_c: float | None, is_water: bool
) -> None:
    """A source within 3 K may, in its season, lie on either side, and 3 K further away."""
    assert felt(QUIET, temperature_c, source_c).over == int(is_water)
    assert looked(QUIET, 300.0, temperature_c, source_c).over == int(is_water)


def test_a_source_is_judged_by_how_far_it_is_from_the_tank() -> None:
    warm = QUIET._replace(warmth_c=25.0, slower_c=25.0, usual_c=25.0)
    assert felt(warm, 24.0, 10.0).over == 1
    assert felt(warm, 26.0, 10.0).over == 0


@pytest.mark.parametrize(("usual_c", "temperature_c", "is_water"), [
    (2.0, -0.5, True), (2.0, 0.9, False), (1.0, 2.0, False), (1.0, 2.1, True), (-1.0, -0.5, False),
])  # fmt: skip
def test_what_goes_back_to_the_usual_is_a_heater_or_the_room(
    usual_c: float, temperature_c: float, is_water: bool
) -> None:
    assert felt(QUIET._replace(usual_c=usual_c), temperature_c).over == int(is_water)


@pytest.mark.parametrize(
    "level", [QUIET._replace(warmth_c=None, slower_c=None), QUIET._replace(usual_c=None)]
)
def test_before_the_temperature_is_known_nothing_is_felt(level: Baseline) -> None:
    assert felt(level, -5.0).over == 0


def test_three_in_a_row_after_ten_quiet_minutes_begin_a_watch() -> None:
    twice = QUIET._replace(over=2)
    for look in (looked(twice, 340.0, None), felt(twice, -5.0)):
        assert look.over == 3
        assert raised(look)
        assert not raised(look._replace(seen_s=READY_S - 1.0))
        assert looked(look, 300.0, None).over == 0
        assert felt(look, 0.0).over == 0
    assert not raised(twice)
