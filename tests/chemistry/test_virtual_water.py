"""The demo's water: by the full chloramine scheme, and nothing is lost on the way."""

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from afterfill.chemistry.chloramine import Amounts, simulate
from afterfill.chemistry.chloramine_scheme import Conditions
from afterfill.simulation.virtual_water import TankHabits, WaterState, lived, neutralised, poured

STILL = TankHabits(
    ph_swing=0.0, fed_mg_n_l_h=0.0, filter_per_h=0.0, free_demand_per_h=0.0,
    combined_demand_per_h=0.0,
)  # fmt: skip
TAP = WaterState(free=1.2, ammonia=0.0, temperature_c=15.0, ph=7.8)
shares = st.floats(0.0, 1.0)
waters = st.builds(
    lambda free, combined, di, neutraliser: WaterState(
        free, combined, neutraliser, dichloramine=di * combined
    ),
    st.floats(0.0, 2.0), st.floats(0.0, 2.0), shares, st.floats(0.0, 3.0),
)  # fmt: skip


def nitrogen(water: WaterState) -> float:
    return water.ammonia + water.bound_nitrogen


def test_it_follows_the_scheme_from_step_to_step() -> None:
    water = WaterState(free=0.3, ammonia=0.2)
    exact = simulate(Amounts(0.3, 0.2), Conditions(7.4, 25.0, 90.0), [12 * 3600.0])[0]
    for _ in range(12 * 60):
        water = lived(water, STILL, 0.0, 60.0)
    assert water.residual == pytest.approx(exact.residual_mg_l, abs=2e-3)
    assert water.dichloramine == pytest.approx(exact.di_mg_l, abs=2e-3)
    assert water.ammonia == pytest.approx(exact.ammonia_mg_l, abs=1e-3)


def test_free_chlorine_is_bound_by_the_tanks_ammonia_within_a_minute() -> None:
    water = lived(poured(WaterState(ammonia=0.4), TAP, 0.25), STILL, 0.0, 60.0)
    assert water.free < 0.01
    assert water.combined == pytest.approx(0.3, abs=0.01)


def test_what_organics_take_from_chloramine_gives_its_ammonia_back() -> None:
    water = WaterState(combined=0.5, ammonia=0.1)
    for _ in range(240):
        water = lived(water, replace(STILL, combined_demand_per_h=1.0), 0.0, 120.0)
    assert water.residual < 1e-3
    assert water.ammonia == pytest.approx(0.1 + 0.5 / 5.062, rel=0.02)


@given(waters)
def test_a_neutraliser_sets_free_what_chlorine_held(water: WaterState) -> None:
    after = neutralised(water, 0.1)
    assert nitrogen(after) == pytest.approx(nitrogen(water))
    taken = water.neutraliser - after.neutraliser
    assert water.residual - after.residual == pytest.approx(taken)
    assert after.dichloramine <= after.combined + 1e-12


@given(waters, shares)
def test_pouring_mixes_every_part(water: WaterState, share: float) -> None:
    both = poured(water, TAP, share)
    assert both.residual == pytest.approx((1 - share) * water.residual + share * TAP.residual)
    assert nitrogen(both) == pytest.approx((1 - share) * nitrogen(water) + share * nitrogen(TAP))


def test_a_trace_stays_a_trace() -> None:
    course = [WaterState(combined=2e-5)]
    for _ in range(50):
        course.append(lived(course[-1], TankHabits(), 0.0, 3600.0))
    assert all(after.residual <= before.residual for before, after in pairwise(course))
