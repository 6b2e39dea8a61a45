"""The closed form of binding against the full scheme, and what it leaves out."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from afterfill.chemistry.chloramine import Amounts, simulate
from afterfill.chemistry.chloramine_binding import binding_rate, bound_mg_l
from afterfill.chemistry.chloramine_scheme import Conditions
from afterfill.chemistry.stoichiometry import MG_CL2_PER_MG_N
from afterfill.errors import ModelDomainError

Agree = Callable[..., None]
amounts = st.floats(0.0, 4.0)


def bound(free_mg_l: float, ammonia_mg_l: float, rate: float, seconds: float) -> float:
    capacity = np.array(ammonia_mg_l * MG_CL2_PER_MG_N)
    return float(bound_mg_l(np.array(free_mg_l), capacity, rate, seconds))


@pytest.mark.parametrize("ph", [6.5, 7.5, 8.5])
@pytest.mark.parametrize("seconds", [1.0, 5.0, 20.0])
def test_binding_follows_the_full_scheme(agree: Agree, ph: float, seconds: float) -> None:
    exact = simulate(Amounts(0.25, 0.1), Conditions(ph, 25.0), [seconds])[0]
    found = bound(0.25, 0.1, binding_rate(ph, 25.0), seconds)
    error = [0.25 - found - exact.free_mg_l]
    agree(f"free chlorine after {seconds:g} s at pH {ph:g}, full scheme", error, 1e-3, "mg/L")


@pytest.mark.parametrize("ph", [6.5, 7.0, 7.5, 8.5])
def test_what_is_left_out_is_little_where_ammonia_binds_all(agree: Agree, ph: float) -> None:
    for hours, share in ((6.0, 0.01), (24.0, 0.08)):
        for mono, ammonia in ((0.3, 0.05), (1.0, 0.1), (0.3, 0.5)):
            start = Amounts(0.0, ammonia, mono)
            (later,) = simulate(start, Conditions(ph, 25.0, 80.0), [3600.0 * hours])
            lost = [1.0 - later.residual_mg_l / mono]
            agree(f"chloramine lost in {hours:g} h at pH {ph:g}", lost, share, "share")


@pytest.mark.parametrize("ph", [6.5, 7.5, 8.5])
def test_beyond_mole_for_mole_the_residual_is_overstated_never_understated(ph: float) -> None:
    for free, ammonia in ((0.3, 0.03), (1.0, 0.05)):
        for exact in simulate(Amounts(free, ammonia), Conditions(ph, 25.0), [600.0, 3600.0, 6e4]):
            assert exact.residual_mg_l <= free + 1e-9


@given(amounts, amounts, st.floats(0.0, 3600.0))
def test_nothing_is_made_and_nothing_negative(free: float, capacity: float, seconds: float) -> None:
    found = float(bound_mg_l(np.array(free), np.array(capacity), 0.5, seconds))
    assert 0.0 <= found <= min(free, capacity)


@given(st.floats(0.0, 2.0), st.floats(0.0, 1.0))
def test_after_long_all_have_met_mole_for_mole(free: float, ammonia: float) -> None:
    left = free - bound(free, ammonia, binding_rate(8.0, 25.0), 1e5)
    assert left == pytest.approx(max(free - ammonia * MG_CL2_PER_MG_N, 0.0), abs=1e-3)


def test_no_time_binds_nothing_and_time_does_not_run_back() -> None:
    assert bound(0.5, 0.1, 0.5, 0.0) == 0.0
    with pytest.raises(ModelDomainError, match="seconds"):
        bound(0.5, 0.1, 0.5, -1.0)
