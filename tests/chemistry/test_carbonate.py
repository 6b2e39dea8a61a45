"""pH of mixtures against PHREEQC, and how it moves to the pH of air."""

import random
from collections.abc import Callable
from dataclasses import replace
from math import log10

import pytest
from hypothesis import given
from hypothesis import strategies as st

from afterfill.chemistry.carbonate import (
    Water,
    alkalinity_after,
    mixed_totals,
    mixture,
    ph_closed,
    ph_open,
    ph_over_hours,
    totals_of,
)
from afterfill.chemistry.carbonate_system import closed
from afterfill.errors import ModelDomainError
from chemistry.phreeqc_waters import Case, engine, mixed_ph

Oracle = Callable[[str], list[dict[str, str]]]
Agree = Callable[..., None]

waters = st.builds(
    Water,
    st.floats(6.0, 9.0),
    st.floats(5.0, 300.0),
    st.floats(0.0, 300.0),
    st.floats(2.0, 32.0),
)


def _water(row: dict[str, str], which: str) -> Water:
    keys = ("pH", "alk_mgL_CaCO3", "GH_mgL_CaCO3", "T_C")
    return Water(*(float(row[f"{which}_{key}"]) for key in keys))


def test_twelve_worked_mixtures_agree_with_phreeqc(oracle: Oracle, agree: Agree) -> None:
    rows = oracle("carbonate_mixing.csv")
    ours = [mixture(_water(r, "X"), _water(r, "Y"), float(r["f_tap"])) for r in rows]
    name = "pH of twelve worked mixtures, PHREEQC Amm.dat"
    agree(
        f"{name}, closed",
        _differences(rows, "pH_closed_phreeqc", [m.ph_closed for m in ours]),
        0.005,
    )
    agree(f"{name}, air", _differences(rows, "pH_open_phreeqc", [m.ph_open for m in ours]), 0.005)
    carbon = [m.carbon_mmol_l for m in ours]
    agree("their dissolved carbon", _differences(rows, "mix_DIC_mmol", carbon), 0.002, "mmol/L")


def test_two_hundred_random_mixtures_agree_with_phreeqc(agree: Agree) -> None:
    machine, seeded = engine(), random.Random(20)
    shut, open_ = [], []
    for _ in range(200):
        case = _random_case(seeded)
        ours = mixture(case.tank, case.source, case.fraction)
        theirs = mixed_ph(machine, case, log10(420e-6))
        shut.append(ours.ph_closed - theirs[0])
        open_.append(ours.ph_open - theirs[1])
    agree("pH of 200 random mixtures, PHREEQC Amm.dat, closed", shut, 0.005)
    agree("pH of 200 random mixtures, PHREEQC Amm.dat, air", open_, 0.005)


@given(waters)
def test_a_water_speciated_and_solved_again_has_its_ph(water: Water) -> None:
    assert ph_closed(totals_of(water)) == pytest.approx(water.ph, abs=1e-6)


@given(waters, waters, st.floats(0.0, 1.0))
def test_mixing_conserves_carbon_and_charge_balance(a: Water, b: Water, fraction: float) -> None:
    tank, source = totals_of(a), totals_of(b)
    both = mixed_totals(tank, source, fraction)
    assert both.carbon == pytest.approx((1 - fraction) * tank.carbon + fraction * source.carbon)
    solved = closed(both)
    assert solved.carbon == pytest.approx(both.carbon, rel=1e-6)
    strong = 2.0 * (both.calcium + both.magnesium) + both.sodium - both.chloride
    assert strong == pytest.approx(both.alkalinity, abs=1e-9)


@given(waters)
def test_carbon_dioxide_in_the_air_lowers_ph(water: Water) -> None:
    totals = totals_of(water)
    assert ph_open(totals, 1e-3) < ph_open(totals, 4e-4)


@given(waters)
def test_acid_lowers_ph(water: Water) -> None:
    totals = totals_of(water)
    assert ph_closed(alkalinity_after(totals, -2.0)) < ph_closed(totals)


@pytest.mark.parametrize("ph", [6.4, 7.2, 9.0])
def test_ph_moves_from_the_closed_value_to_that_of_air(ph: float) -> None:
    totals = totals_of(Water(ph, 60.0, 90.0, 24.0))
    course = [ph_over_hours(totals, h, 0.5) for h in (0.0, 1.0, 4.0, 16.0, 64.0, 1000.0)]
    assert course[0] == pytest.approx(ph, abs=1e-6)
    assert course[-1] == pytest.approx(ph_open(totals), abs=0.01)
    assert course == sorted(course, reverse=ph > ph_open(totals))


def test_the_way_to_air_follows_small_explicit_steps() -> None:
    totals = totals_of(Water(7.0, 60.0, 90.0, 24.0))
    carbon, span = totals.carbon, 0.2 * 12.0
    at_air = closed(replace(totals, carbon=_carbon_at_air(totals.alkalinity))).co2
    for _ in range(4000):
        carbon -= span / 4000 * (closed(replace(totals, carbon=carbon)).co2 - at_air)
    expected = closed(replace(totals, carbon=carbon)).ph
    assert ph_over_hours(totals, 12.0) == pytest.approx(expected, abs=0.02)


def test_more_alkaline_than_its_alkalinity_allows_is_refused() -> None:
    with pytest.raises(ModelDomainError, match="measure both again"):
        totals_of(Water(10.5, 1.0, 0.0, 25.0))


def _carbon_at_air(alkalinity: float) -> float:
    low, high = 0.5 * alkalinity, 1.5 * alkalinity
    totals = totals_of(Water(7.0, 60.0, 90.0, 24.0))
    wanted = ph_open(totals)
    for _ in range(60):
        middle = 0.5 * (low + high)
        below = closed(replace(totals, carbon=middle)).ph < wanted
        low, high = (low, middle) if below else (middle, high)
    return 0.5 * (low + high)


def _differences(rows: list[dict[str, str]], key: str, ours: list[float]) -> list[float]:
    return [value - float(row[key]) for row, value in zip(rows, ours, strict=True)]


def _random_case(seeded: random.Random) -> Case:
    def water() -> Water:
        return Water(
            round(seeded.uniform(6.0, 9.5), 2),
            round(seeded.uniform(5.0, 300.0), 1),
            round(seeded.uniform(0.0, 400.0), 1),
            round(seeded.uniform(5.0, 35.0), 1),
        )

    return Case(water(), water(), round(seeded.uniform(0.0, 1.0), 2))
