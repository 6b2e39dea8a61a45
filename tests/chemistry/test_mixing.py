"""Balances of refills and top-offs, and chlorine and nitrogen in proportion."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from afterfill.chemistry.acid_base import nh3_fraction
from afterfill.chemistry.mixing import (
    after_repeated,
    mixed,
    refilled_fraction,
    refills_until,
    top_off_steady_state,
    topped_off,
)
from afterfill.chemistry.stoichiometry import (
    MG_CL2_PER_MG_N,
    ammonia_from_chloramine,
    chloramine_from_ammonia,
    combine,
    combine_arrays,
    total_ammonia_of_tap,
    uncombined_ammonia,
)

amounts = st.floats(0.0, 10.0)
fractions = st.floats(0.0, 1.0)


@pytest.mark.parametrize(
    ("fraction", "combined", "free_n", "oxidant", "total_n"),
    [(0.25, 2.0, 0.1, 0.5, 0.1238), (0.5, 3.0, 0.3, 1.5, 0.4463), (0.1, 4.0, 0.0, 0.4, 0.0790)],
)
def test_worked_refills(
    fraction: float, combined: float, free_n: float, oxidant: float, total_n: float
) -> None:
    assert mixed(0.0, combined, fraction) == pytest.approx(oxidant)
    released = free_n + ammonia_from_chloramine(combined)
    assert mixed(0.0, released, fraction) == pytest.approx(total_n, abs=5e-5)


@pytest.mark.parametrize(("ph", "ug_l"), [(7.0, 0.70), (7.5, 2.18), (8.0, 6.64), (8.5, 18.8)])
def test_worked_toxic_ammonia_after_a_refill(ph: float, ug_l: float) -> None:
    assert 1000.0 * 0.1238 * nh3_fraction(ph, 25.0) == pytest.approx(ug_l, rel=0.01)


@pytest.mark.parametrize(("loss", "ug_l"), [(0.04, 250.0), (0.35, 28.6), (5.0, 2.0), (24.0, 0.42)])
def test_worked_top_off(loss: float, ug_l: float) -> None:
    assert 1000.0 * top_off_steady_state(1.0, 1.0, 100.0, loss) == pytest.approx(ug_l, rel=0.01)


@given(amounts, amounts, fractions, st.integers(0, 20))
def test_repeated_refills_are_single_ones_repeated(
    before: float, added: float, fraction: float, times: int
) -> None:
    now = before
    for _ in range(times):
        now = mixed(now, added, fraction)
    assert after_repeated(before, added, fraction, times) == pytest.approx(now, abs=1e-9)


@given(st.floats(20.0, 40.0), st.floats(0.0, 10.0), st.floats(0.05, 0.9), st.integers(1, 12))
def test_refills_until_inverts_repeated_refills(
    before: float, added: float, fraction: float, times: int
) -> None:
    target = after_repeated(before, added, fraction, times)
    if target - added > 1e-6:
        assert refills_until(before, added, target, fraction) == pytest.approx(times, rel=1e-4)


@given(amounts, amounts, st.floats(0.1, 20.0))
def test_topping_off_settles(before: float, added: float, loss: float) -> None:
    far = topped_off(before, added, 1.0, 100.0, 1000.0, loss)
    assert far == pytest.approx(top_off_steady_state(added, 1.0, 100.0, loss), abs=1e-9)


def test_topping_off_follows_small_steps() -> None:
    now, steps = 3.0, 20_000
    for _ in range(steps):
        now += (0.02 * 1.5 - 0.4 * now) * 2.0 / steps
    assert topped_off(3.0, 1.5, 2.0, 100.0, 2.0, 0.4) == pytest.approx(now, rel=1e-4)


@given(amounts, amounts, fractions)
def test_a_mixture_lies_between_its_waters(before: float, added: float, fraction: float) -> None:
    low, high = sorted((before, added))
    assert low - 1e-12 <= mixed(before, added, fraction) <= high + 1e-12


def test_mixing_arrays_equals_mixing_numbers() -> None:
    before, fraction = np.array([0.0, 1.0, 2.0]), np.array([0.1, 0.5, 1.0])
    expected = [mixed(float(b), 4.0, float(f)) for b, f in zip(before, fraction, strict=True)]
    np.testing.assert_allclose(mixed(before, 4.0, fraction), expected)


def test_both_modes_give_the_share_of_new_water() -> None:
    assert (
        refilled_fraction(100.0, 25.0, "replace") == refilled_fraction(100.0, 25.0, "add") == 0.25
    )


@given(amounts, st.floats(0.0, 2.0), amounts)
def test_combining_conserves_chlorine_and_nitrogen(
    free: float, ammonia: float, combined: float
) -> None:
    after = combine(free, ammonia, combined)
    assert min(after) >= 0.0
    assert after.free_mg_l + after.combined_mg_l == pytest.approx(free + combined)
    before_n = ammonia + combined / MG_CL2_PER_MG_N
    assert after.ammonia_mg_l + after.combined_mg_l / MG_CL2_PER_MG_N == pytest.approx(before_n)
    assert after.free_mg_l < 1e-12 or after.ammonia_mg_l < 1e-12


@given(st.lists(st.tuples(amounts, st.floats(0.0, 2.0), amounts), min_size=1, max_size=9))
def test_combining_arrays_equals_combining_numbers(many: list[tuple[float, float, float]]) -> None:
    columns = (np.array(c) for c in zip(*many, strict=True))
    together = np.array(combine_arrays(*columns)).T
    np.testing.assert_allclose(together, [combine(*water) for water in many], atol=1e-12)


@pytest.mark.parametrize(
    ("ratio", "left"), [(3.0, 0.272), (4.0, 0.105), (4.5, 0.0493), (5.0, 0.0049)]
)
def test_worked_free_ammonia_of_the_tap(ratio: float, left: float) -> None:
    assert uncombined_ammonia(2.0, ratio) == pytest.approx(left, abs=5e-4)


@given(st.floats(0.01, 8.0), st.floats(1.0, 5.0))
def test_tap_ammonia_is_bound_and_unbound(combined: float, ratio: float) -> None:
    parts = uncombined_ammonia(combined, ratio) + ammonia_from_chloramine(combined)
    assert total_ammonia_of_tap(combined, ratio) == pytest.approx(parts)
    back = chloramine_from_ammonia(ammonia_from_chloramine(combined))
    assert back == pytest.approx(combined)
