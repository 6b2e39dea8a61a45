"""pH of mixtures against PHREEQC, and how it moves to the pH of air."""

import random
from collections.abc import Callable
from math import log10

import pytest
from hypothesis import given
from hypothesis import strategies as st

from afterfill.chemistry.carbonate import (
    Water,
    alkalinity_after,
    mixed_totals,
    ph_over_hours,
    totals_of,
)
from afterfill.chemistry.carbonate_system import Totals, closed, with_air
from afterfill.chemistry.constants import AIR_CO2
from afterfill.errors import ModelDomainError
from chemistry.phreeqc_waters import Case, engine, mixed_ph, ph_in_air

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
    ours = [_mixture(Case(_water(r, "X"), _water(r, "Y"), float(r["f_tap"]))) for r in rows]
    name = "pH of twelve worked mixtures, PHREEQC Amm.dat"
    agree(
        f"{name}, closed",
        _differences(rows, "pH_closed_phreeqc", [closed(m).ph for m in ours]),
        0.005,
    )
    agree(f"{name}, air", _differences(rows, "pH_open_phreeqc", [_ph_open(m) for m in ours]), 0.005)
    carbon = [1000.0 * m.carbon for m in ours]
    agree("their dissolved carbon", _differences(rows, "mix_DIC_mmol", carbon), 0.002, "mmol/L")


def test_two_hundred_random_mixtures_agree_with_phreeqc(agree: Agree) -> None:
    machine, seeded = engine(), random.Random(20)
    shut, open_ = [], []
    for _ in range(200):
        case = _random_case(seeded)
        ours = _mixture(case)
        theirs = mixed_ph(machine, case, log10(420e-6))
        shut.append(closed(ours).ph - theirs[0])
        open_.append(_ph_open(ours) - theirs[1])
    agree("pH of 200 random mixtures, PHREEQC Amm.dat, closed", shut, 0.005)
    agree("pH of 200 random mixtures, PHREEQC Amm.dat, air", open_, 0.005)


@given(waters)
def test_a_water_speciated_and_solved_again_has_its_ph(water: Water) -> None:
    assert closed(totals_of(water)).ph == pytest.approx(water.ph, abs=1e-6)


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
    assert with_air(totals, 1e-3).ph < with_air(totals, 4e-4).ph


@given(waters)
def test_acid_lowers_ph(water: Water) -> None:
    totals = totals_of(water)
    assert closed(alkalinity_after(totals, -2.0)).ph < closed(totals).ph


@pytest.mark.parametrize("ph", [6.4, 7.2, 9.0])
def test_ph_moves_from_the_closed_value_to_that_of_air(ph: float) -> None:
    totals = totals_of(Water(ph, 60.0, 90.0, 24.0))
    course = ph_over_hours(totals, [0.0, 1.0, 4.0, 16.0, 64.0, 1000.0], 0.5)
    assert course[0] == pytest.approx(ph, abs=1e-6)
    assert course[-1] == pytest.approx(_ph_open(totals), abs=0.01)
    assert course == sorted(course, reverse=ph > _ph_open(totals))


@pytest.mark.parametrize("exchange_per_h", [0.2, 1.5])
def test_the_way_to_air_agrees_with_phreeqc(agree: Agree, exchange_per_h: float) -> None:
    machine, seeded, errors = engine(), random.Random(7), []
    hours = [0.5, 2.0, 6.0, 24.0]
    for _ in range(12):
        water = _random_case(seeded).tank
        ours = ph_over_hours(totals_of(water), hours, exchange_per_h)
        theirs = ph_in_air(machine, water, hours, exchange_per_h, AIR_CO2.value)
        errors += [a - b for a, b in zip(ours, theirs, strict=True)]
    agree(f"pH over a day, {exchange_per_h:g} 1/h, PHREEQC kinetics", errors, 0.002)


@pytest.mark.parametrize("hours", [[-1.0], [2.0, 1.0], [1001.0]])
def test_hours_that_fall_or_never_come_are_refused(hours: list[float]) -> None:
    with pytest.raises(ModelDomainError, match="hours is"):
        ph_over_hours(totals_of(Water(7.0, 60.0, 90.0, 24.0)), hours)


def test_more_alkaline_than_its_alkalinity_allows_is_refused() -> None:
    with pytest.raises(ModelDomainError, match="measure both again"):
        totals_of(Water(10.5, 1.0, 0.0, 25.0))


def _mixture(case: Case) -> Totals:
    return mixed_totals(totals_of(case.tank), totals_of(case.source), case.fraction)


def _ph_open(totals: Totals) -> float:
    return with_air(totals, AIR_CO2.value).ph


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
