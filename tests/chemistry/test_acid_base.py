"""Shares of HOCl and NH3 against printed cells and PHREEQC."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from afterfill.chemistry.acid_base import (
    hocl_fraction,
    nh3_fraction,
    nh4_pk,
)

Oracle = Callable[[str], list[dict[str, str]]]
Agree = Callable[..., None]

ph_values = st.floats(5.0, 10.5)
temperatures = st.floats(0.0, 35.0)
strengths = st.floats(0.0, 0.05)

# Trussell 1972, fresh water, percent NH3 at 10, 15, 20, 25 degrees C, as an instrument manual
# reprints it (secondary); two decimals, so the smallest cell is known to 3 % only
TRUSSELL = {
    7.0: (0.19, 0.27, 0.40, 0.55),
    7.5: (0.59, 0.85, 1.24, 1.73),
    8.0: (1.83, 2.65, 3.83, 5.28),
    8.2: (2.86, 4.14, 5.94, 8.11),
    8.5: (5.55, 7.98, 11.18, 14.97),
}


def test_printed_cells_of_ammonia(agree: Agree) -> None:
    errors = [
        (100.0 * nh3_fraction(ph, t) - cell) / cell
        for ph, cells in TRUSSELL.items()
        for t, cell in zip((10.0, 15.0, 20.0, 25.0), cells, strict=True)
    ]
    agree("NH3 share, Trussell 1972 (printed cells)", errors, 0.03, "relative")


def test_printed_shares_of_hypochlorous_acid(agree: Agree) -> None:
    # Mattice et al. 1981 (abstract): about 97 % at pH 6.05 and 13 % at pH 8.42, no temperature
    errors = [hocl_fraction(6.05, 20.0) - 0.97, hocl_fraction(8.42, 20.0) - 0.13]
    agree("HOCl share, Mattice et al. 1981 (abstract)", errors, 0.01, "absolute")


def test_ammonia_agrees_with_phreeqc_up_to_ionic_strength_0_02(
    oracle: Oracle, agree: Agree
) -> None:
    rows = oracle("nh3_fraction.csv")
    errors = [
        nh3_fraction(float(r["pH"]), float(r["T_C"]), float(r["I_calc_molal"]))
        / float(r["f_NH3_phreeqc"])
        - 1.0
        for r in rows
    ]
    agree("NH3 share, PHREEQC Amm.dat, I to 0.02", errors, 0.02, "relative")


@pytest.mark.parametrize(
    ("sulfate", "tolerance"), [(False, 0.02), (True, 0.05)], ids=["tap waters", "sulfate-rich"]
)
def test_ammonia_agrees_with_phreeqc_in_real_waters(
    oracle: Oracle, agree: Agree, sulfate: bool, tolerance: float
) -> None:
    rows = [r for r in oracle("nh3_waters.csv") if ("sulfate" in r["matrix"]) == sulfate]
    errors = [
        nh3_fraction(float(r["pH"]), float(r["T_C"]), float(r["I_molal"]))
        / float(r["f_NH3_of_TAN"])
        - 1.0
        for r in rows
    ]
    name = "sulfate-rich" if sulfate else "tap-like"
    agree(f"NH3 share, PHREEQC Amm.dat, {name} waters", errors, tolerance, "relative")


@pytest.mark.parametrize("database", ["Kinec_v3.dat", "ThermoddemV1.10"])
def test_hypochlorous_acid_agrees_with_databases_in_dilute_water(
    oracle: Oracle, agree: Agree, database: str
) -> None:
    rows = [
        r
        for r in oracle("hocl_fraction.csv")
        if r["source"] == database and r["I_nominal_molal"] == "0.0"
    ]
    errors = [hocl_fraction(float(r["pH"]), float(r["T_C"])) - float(r["f_HOCl"]) for r in rows]
    agree(f"HOCl share, PHREEQC {database}, I near 0", errors, 0.012, "absolute")


def test_hypochlorous_acid_in_salt_follows_phreeqc_with_the_same_constant(
    oracle: Oracle, agree: Agree
) -> None:
    rows = [r for r in oracle("hocl_fraction.csv") if r["source"].startswith("own_Morris")]
    errors = [
        hocl_fraction(float(r["pH"]), float(r["T_C"]), float(r["I_calc_molal"]))
        - float(r["f_HOCl"])
        for r in rows
    ]
    agree("HOCl share, PHREEQC with Morris 1966, I to 0.02", errors, 0.005, "absolute")


@given(ph_values, temperatures, strengths)
def test_shares_lie_between_none_and_all(ph: float, t: float, strength: float) -> None:
    assert 0.0 < hocl_fraction(ph, t, strength) < 1.0
    assert 0.0 < nh3_fraction(ph, t, strength) < 1.0


@given(ph_values, temperatures, strengths)
def test_ph_makes_ammonia_and_unmakes_hypochlorous_acid(
    ph: float, t: float, strength: float
) -> None:
    assert nh3_fraction(ph + 0.1, t, strength) > nh3_fraction(ph, t, strength)
    assert hocl_fraction(ph + 0.1, t, strength) < hocl_fraction(ph, t, strength)


@given(ph_values, st.floats(0.0, 34.0), strengths)
def test_warmth_makes_ammonia_and_salt_hides_it(ph: float, t: float, strength: float) -> None:
    assert nh3_fraction(ph, t + 1.0, strength) > nh3_fraction(ph, t, strength)
    assert nh3_fraction(ph, t, strength + 0.01) < nh3_fraction(ph, t, strength)


@given(temperatures, strengths)
def test_half_is_ammonia_where_ph_is_pk(t: float, strength: float) -> None:
    assert nh3_fraction(nh4_pk(t, strength), t, strength) == pytest.approx(0.5)


@given(st.lists(st.tuples(ph_values, temperatures, strengths), min_size=1, max_size=20))
def test_arrays_equal_scalars(points: list[tuple[float, float, float]]) -> None:
    ph, t, strength = (np.array(column) for column in zip(*points, strict=True))
    for share in (hocl_fraction, nh3_fraction):
        one_by_one = [share(*point) for point in points]
        np.testing.assert_allclose(share(ph, t, strength), one_by_one, rtol=1e-12)
