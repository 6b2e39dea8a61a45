"""Balances of refills, and chlorine and nitrogen in proportion."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from afterfill.chemistry.acid_base import nh3_fraction
from afterfill.chemistry.mixing import (
    mixed,
    refilled_fraction,
)
from afterfill.chemistry.stoichiometry import (
    ammonia_from_chloramine,
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


@pytest.mark.parametrize(
    ("ratio", "left"), [(3.0, 0.272), (4.0, 0.105), (4.5, 0.0493), (5.0, 0.0049)]
)
def test_worked_free_ammonia_of_the_tap(ratio: float, left: float) -> None:
    assert uncombined_ammonia(2.0, ratio) == pytest.approx(left, abs=5e-4)


@given(st.floats(0.01, 8.0), st.floats(1.0, 5.0))
def test_tap_ammonia_is_bound_and_unbound(combined: float, ratio: float) -> None:
    parts = uncombined_ammonia(combined, ratio) + ammonia_from_chloramine(combined)
    assert total_ammonia_of_tap(combined, ratio) == pytest.approx(parts)
