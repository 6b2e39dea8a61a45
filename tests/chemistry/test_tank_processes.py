"""The filter and the oxygen of a tank."""

from collections.abc import Callable
from math import exp

import pytest
from hypothesis import given
from hypothesis import strategies as st

from afterfill.chemistry.standing import Interval
from afterfill.chemistry.tank_processes import (
    filter_hours,
    oxygen_saturation_mg_l,
)
from afterfill.errors import ModelDomainError

Agree = Callable[..., None]


def test_oxygen_saturation_over_temperature(agree: Agree) -> None:
    # Benson & Krause 1984, fresh water, computed apart
    cells = {0: 14.621, 10: 11.288, 15: 10.084, 20: 9.092, 25: 8.263, 28: 7.828, 30: 7.559}
    errors = [oxygen_saturation_mg_l(float(t)) - cell for t, cell in cells.items()]
    agree("oxygen saturation, Benson & Krause 1984", errors, 1e-3, "mg/L")


@given(st.floats(0.02, 1.9), st.floats(0.5, 20.0))
def test_the_filter_reaches_the_target_when_it_says(ammonia: float, per_day: float) -> None:
    hours = filter_hours(ammonia, 0.02, Interval(per_day, per_day, per_day)).middle
    assert min(ammonia, 0.02) == pytest.approx(ammonia * exp(-per_day * hours / 24.0))


def test_an_immature_filter_may_never_do_it() -> None:
    hours = filter_hours(0.5, 0.1, Interval(0.0, 1.0, 5.0))
    assert hours.low < hours.middle < hours.high == float("inf")


def test_clean_water_takes_no_time() -> None:
    assert filter_hours(0.0, 0.1) == Interval(0.0, 0.0, 0.0)


@pytest.mark.parametrize(
    "ask",
    [
        lambda: filter_hours(3.0, 0.1),
        lambda: filter_hours(0.5, 0.0),
        lambda: oxygen_saturation_mg_l(41.0),
    ],
    ids=["past first order", "target of nothing", "too warm"],
)
def test_outside_the_range_is_refused(ask: Callable[[], object]) -> None:
    with pytest.raises(ModelDomainError):
        ask()
