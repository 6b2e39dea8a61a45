"""The filter's reduced chloramine form against the full scheme."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from afterfill.chemistry.chloramine import Amounts, simulate
from afterfill.chemistry.chloramine_reduced import (
    STATED_ERROR_MG_L,
    Reduced,
    ReducedArrays,
    reduced_rates,
    step,
    step_arrays,
)
from afterfill.chemistry.chloramine_scheme import Conditions
from afterfill.chemistry.stoichiometry import MG_CL2_PER_MG_N

Agree = Callable[..., None]

amounts = st.floats(0.0, 4.0)
waters = st.builds(Reduced, amounts, amounts, st.floats(0.0, 0.5), st.floats(0.0, 1.0))
conditions = st.builds(Conditions, st.floats(6.5, 9.0), st.floats(4.0, 34.0), st.floats(0.0, 250.0))


def _errors(ph: float, temperature_c: float, mono: float, ammonia: float) -> tuple[float, float]:
    water = Conditions(ph, temperature_c, 80.0)
    rates, now = reduced_rates(water), Reduced(0.0, mono, 0.0, ammonia)
    full = simulate(Amounts(0.0, ammonia, mono), water, [3600.0 * h for h in range(4, 49, 4)])
    residual, nitrogen = 0.0, 0.0
    for exact in full:
        for _ in range(240):
            now = step(now, rates, 60.0)
        residual = max(residual, abs(sum(now[:3]) - exact.residual_mg_l))
        nitrogen = max(nitrogen, abs(now.ammonia_mg_l - exact.ammonia_mg_l))
    return residual, nitrogen


@pytest.mark.parametrize(
    ("phs", "tolerance"),
    [((6.5,), STATED_ERROR_MG_L), ((7.0, 7.5, 8.5), STATED_ERROR_MG_L / 4.0)],
    ids=["acid", "neutral"],
)
def test_two_days_stay_within_the_stated_error(
    agree: Agree, phs: tuple[float, ...], tolerance: float
) -> None:
    found = [
        _errors(ph, t, mono, ammonia)
        for ph in phs
        for t in (10.0, 20.0, 30.0)
        for mono in (0.3, 2.0)
        for ammonia in (0.05, 0.5)
    ]
    name = f"reduced chloramine over 2 d, pH {phs[0]:g}-{phs[-1]:g}"
    agree(f"{name}: residual, full scheme", [f[0] for f in found], tolerance, "mg/L")
    agree(f"{name}: ammonia, full scheme", [f[1] for f in found], 0.02, "mg/L as N")


@pytest.mark.parametrize("seconds", [1.0, 5.0, 20.0])
def test_formation_follows_the_full_scheme(agree: Agree, seconds: float) -> None:
    water = Conditions(7.5, 25.0)
    exact = simulate(Amounts(0.25, 0.1), water, [seconds])[0]
    found = step(Reduced(0.25, 0.0, 0.0, 0.1), reduced_rates(water), seconds)
    errors = [found.free_mg_l - exact.free_mg_l, found.mono_mg_l - exact.mono_mg_l]
    agree(f"reduced formation after {seconds:g} s, full scheme", errors, 1e-3, "mg/L")


@pytest.mark.parametrize(
    ("what", "start", "tolerance"),
    [
        ("combined", Reduced(0.0, 0.5, 0.1, 0.2), 2e-3),
        ("free", Reduced(0.4, 0.0, 0.0, 0.0), 1e-3),
        ("free beyond mole for mole", Reduced(0.4, 0.2, 0.0, 0.0), 0.05),
    ],
    ids=lambda x: x if isinstance(x, str) else "",
)
def test_demands_follow_the_full_scheme(
    agree: Agree, what: str, start: Reduced, tolerance: float
) -> None:
    water = Conditions(7.8, 25.0, 80.0, free_demand_per_h=6.0, combined_demand_per_h=0.5)
    rates, now = reduced_rates(water), start
    free, mono, di, ammonia = start
    exact = simulate(Amounts(free, ammonia, mono, di), water, [1800.0])[0]
    for _ in range(180):
        now = step(now, rates, 10.0)
    errors = [sum(now[:3]) - exact.residual_mg_l, now.ammonia_mg_l - exact.ammonia_mg_l]
    agree(f"reduced chloramine eaten for 30 min, {what}: full scheme", errors, tolerance, "mg/L")


@given(waters, conditions, st.floats(0.0, 3600.0))
def test_nothing_is_made_and_nothing_negative(
    water: Reduced, at: Conditions, seconds: float
) -> None:
    after = step(water, reduced_rates(at), seconds)
    assert min(after) >= 0.0
    assert sum(after[:3]) <= sum(water[:3]) * (1.0 + 1e-9) + 1e-12


@given(waters, conditions)
def test_nitrogen_only_leaves_as_gas(water: Reduced, at: Conditions) -> None:
    after = step(water, reduced_rates(at), 60.0)
    held = [
        w.ammonia_mg_l + (w.mono_mg_l + w.di_mg_l / 2.0) / MG_CL2_PER_MG_N for w in (water, after)
    ]
    assert held[1] <= held[0] * (1.0 + 1e-9) + 1e-12


@given(st.lists(waters, min_size=1, max_size=8), conditions, st.floats(0.0, 600.0))
def test_arrays_equal_scalars(many: list[Reduced], at: Conditions, seconds: float) -> None:
    rates = reduced_rates(at)
    together = step_arrays(
        ReducedArrays(*(np.array(c) for c in zip(*many, strict=True))), rates, seconds
    )
    alone = [step(water, rates, seconds) for water in many]
    np.testing.assert_allclose(np.array(together).T, np.array(alone), rtol=1e-9, atol=1e-12)


@given(st.floats(0.0, 2.0), st.floats(0.0, 1.0))
def test_after_minutes_chlorine_and_ammonia_have_combined_mole_for_mole(
    free: float, ammonia: float
) -> None:
    found = step(Reduced(free, 0.0, 0.0, ammonia), reduced_rates(Conditions(8.0, 25.0)), 1e5)
    assert found.free_mg_l == pytest.approx(max(free - ammonia * MG_CL2_PER_MG_N, 0.0), abs=1e-3)


def test_no_time_changes_nothing() -> None:
    water = Reduced(0.1, 0.2, 0.01, 0.3)
    assert step(water, reduced_rates(Conditions(7.5, 25.0)), 0.0) == pytest.approx(water)
