"""Standing: free chlorine goes in days, chloramine does not."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from afterfill.chemistry.standing import (
    Interval,
    combined_half_life_h,
    free_half_life_h,
    held_for,
    hours_until,
    remaining,
    waiting,
)


@pytest.mark.parametrize(("way", "days"), [("sealed", 17.3), ("open", 8.7), ("aerated", 2.0)])
def test_published_losses_of_chloramine(way: str, days: float) -> None:
    # Garcia & Anderson 2017, abstract: 0.04, 0.08, 0.35 per day
    assert combined_half_life_h(way).middle / 24.0 == pytest.approx(days, rel=0.02)


def test_measured_losses_of_free_chlorine_lie_within_the_interval() -> None:
    # White 1955, abstract: 0.3 to 0.02 mg/L in 12 h, sealed, 27 degrees C
    left = remaining(0.3, 12.0, free_half_life_h())
    assert left.low <= 0.02 <= left.high
    # a waterworks' page: gone (below 0.1) in 2 d from a typical 0.5 mg/L
    assert remaining(0.5, 48.0, free_half_life_h()).middle < 0.1


def test_free_chlorine_can_be_waited_out_and_chloramine_cannot() -> None:
    chlorine = waiting("chlorine", 1.0, 0.011)
    assert chlorine.hours is not None
    assert 48.0 < chlorine.hours.high < 14.0 * 24.0
    for disinfectant in ("chloramine", "unknown"):
        assert waiting(disinfectant, 1.0, 0.011).hours is None


def test_unknown_tap_water_is_as_bad_as_chloramine() -> None:
    unknown, combined = held_for(2.0, 24.0, "unknown"), held_for(2.0, 24.0, "chloramine")
    assert unknown.high == combined.high
    assert unknown.low == held_for(2.0, 24.0, "chlorine").low


def test_water_already_below_the_limit_needs_no_waiting() -> None:
    assert hours_until(0.005, 0.011, free_half_life_h()) == Interval(0.0, 0.0, 0.0)


@given(st.floats(0.0, 4.0), st.floats(0.0, 500.0))
def test_intervals_are_ordered_and_fall_with_time(start: float, hours: float) -> None:
    left = remaining(start, hours, free_half_life_h())
    later = remaining(start, hours + 1.0, free_half_life_h())
    assert 0.0 <= left.low <= left.middle <= left.high <= start
    assert later.high <= left.high


@given(st.floats(0.02, 4.0))
def test_waiting_long_enough_reaches_the_limit(start: float) -> None:
    half_life = free_half_life_h()
    hours = hours_until(start, 0.011, half_life)
    assert remaining(start, hours.high, half_life).high == pytest.approx(min(start, 0.011))
