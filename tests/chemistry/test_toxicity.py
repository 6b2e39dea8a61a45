"""Criteria and lethal times against published anchors."""

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from afterfill.chemistry.limits import default_limits
from afterfill.chemistry.toxicity import (
    ammonia_acute_mg_l,
    ammonia_chronic_mg_l,
    chloramine_equivalent_mg_l,
    time_left,
)

Agree = Callable[..., None]

phs = st.floats(6.5, 8.9)
temperatures = st.floats(0.0, 29.0)


def test_published_anchors_of_the_ammonia_criteria(agree: Agree) -> None:
    # pH 7, 20 degrees C: acute 17, chronic 1.9 (EPA 2013, secondary; two digits)
    errors = [
        ammonia_acute_mg_l(7.0, 20.0) / 17.0 - 1.0,
        ammonia_chronic_mg_l(7.0, 20.0) / 1.9 - 1.0,
    ]
    agree("ammonia criteria, EPA 2013 (anchors)", errors, 0.03, "relative")


# pH: acute at 10, 20, 25, 30 and chronic at 7, 15, 20, 25, 30 degrees C, computed by hand from the
# equation apart from the code here
CELLS = {
    6.5: ((32.61, 22.67, 14.98, 9.898), (4.922, 2.938, 2.129, 1.542, 1.117)),
    7.5: ((13.28, 9.236, 6.102, 4.032), (3.222, 1.924, 1.393, 1.009, 0.731)),
    8.0: ((5.615, 3.904, 2.580, 1.704), (1.797, 1.073, 0.777, 0.563, 0.408)),
    9.0: ((0.885, 0.615, 0.406, 0.268), (0.359, 0.214, 0.155, 0.112, 0.081)),
}


def test_cells_of_the_ammonia_criteria(agree: Agree) -> None:
    errors = []
    for ph, (acute, chronic) in CELLS.items():
        for t, cell in zip((10.0, 20.0, 25.0, 30.0), acute, strict=True):
            errors.append(ammonia_acute_mg_l(ph, t) / cell - 1.0)
        for t, cell in zip((7.0, 15.0, 20.0, 25.0, 30.0), chronic, strict=True):
            errors.append(ammonia_chronic_mg_l(ph, t) / cell - 1.0)
    agree("ammonia criteria, EPA 2013 (equation apart)", errors, 0.008, "relative")


@given(phs, temperatures)
def test_criteria_tighten_with_ph_and_warmth(ph: float, t: float) -> None:
    for criterion in (ammonia_acute_mg_l, ammonia_chronic_mg_l):
        assert criterion(ph + 0.1, t) < criterion(ph, t)
        assert criterion(ph, t + 1.0) <= criterion(ph, t)
    assert ammonia_chronic_mg_l(ph, t) < ammonia_acute_mg_l(ph, t)


@pytest.mark.parametrize(
    ("minutes", "ug_l"), [(60, 1136), (1440, 270), (5760, 144)], ids=["1 h", "1 d", "4 d"]
)
def test_times_of_the_published_law(minutes: float, ug_l: float) -> None:
    # Farrell et al. 2001, abstract read: LC50 [ug/L] = 7244 t^-0.4525, worked apart
    assert time_left(ug_l / 1000.0).minutes == pytest.approx(minutes, rel=0.02)


@given(st.floats(16.0, 14000.0))
def test_time_left_inverts_the_lethal_concentration(minutes: float) -> None:
    left = time_left(7.244 * minutes**-0.4525)  # the published law [mg/L]
    assert left.bound == "about"
    assert left.minutes == pytest.approx(minutes)


def test_beyond_the_law_only_a_bound_is_told() -> None:
    assert time_left(5.0).bound == "less than"
    assert time_left(0.02).bound == "more than"
    assert time_left(0.0).bound == "more than"


def test_hypochlorous_acid_counts_four_times_chloramine() -> None:
    assert chloramine_equivalent_mg_l(0.1, 0.0, 5.0, 20.0) == pytest.approx(0.4, rel=0.01)
    assert chloramine_equivalent_mg_l(0.1, 0.0, 10.5, 20.0) == pytest.approx(0.1, rel=0.01)


@pytest.mark.parametrize("livestock", ["salmonid", "warmwater", "sensitive"])
def test_default_limits_say_where_they_come_from(livestock: str) -> None:
    limits = default_limits(livestock)
    assert 0.010 < limits.residual_oxidant_mg_l.value < 0.020
    assert "EPA" in limits.residual_oxidant_mg_l.source
    assert limits.free_ammonia_mg_l.value < 0.021
    for span in (limits.ph, limits.temperature_c):
        assert span.low < span.high
        assert span.source == "common practice, no source"
