"""The pH of tank water, of its mixture with source water, and how air moves it afterwards.

Alkalinity, dissolved carbon and hardness mix in proportion; pH follows from them. No mineral
precipitates, mg/L is taken as mg/kg. Within 0.005 of PHREEQC (Amm.dat) for pH 6-9.5, 5-35 degrees
C, alkalinity 5-300 and hardness to 400 mg/L as CaCO3. What a real mixture does is limited by the pH
meter (0.05) and by alkalinity kits (10 %), far above that.
"""

from dataclasses import dataclass, replace
from math import expm1

from afterfill.chemistry.carbonate_system import Totals, at_ph, closed, with_air
from afterfill.chemistry.constants import AIR_CO2, CACO3, CALCIUM_SHARE, CO2_EXCHANGE_QUIET
from afterfill.chemistry.domain import within
from afterfill.chemistry.mixing import mixed

_MG_PER_EQ = 1000.0 * CACO3.value / 2.0
_MG_PER_MOL = 1000.0 * CACO3.value
_CO2_RANGE_ATM = (1e-5, 0.1)


@dataclass(frozen=True, slots=True)
class Water:
    """What a keeper knows of a water: pH 5-10.5, alkalinity and hardness [mg/L as CaCO3, 0-1000],
    temperature [0-50 degrees C]."""

    ph: float
    alkalinity_mg_l_caco3: float
    hardness_mg_l_caco3: float
    temperature_c: float


@dataclass(frozen=True, slots=True)
class Mixture:
    """A refilled tank: pH at once (closed) and when air has had its time (open), and the rest."""

    ph_closed: float
    ph_open: float
    temperature_c: float
    alkalinity_mg_l_caco3: float
    hardness_mg_l_caco3: float
    carbon_mmol_l: float
    ionic_strength: float


def totals_of(water: Water) -> Totals:
    """The conserved amounts in a water of known pH; sodium or chloride fill the missing charge.

    Raises ModelDomainError outside the ranges of `Water`, or when the alkalinity is less than the
    hydroxide of so high a pH.

    >>> round(totals_of(Water(7.2, 60.0, 90.0, 25.0)).carbon * 1000.0, 3)
    1.356
    """
    within("pH", water.ph, 5.0, 10.5)
    within("alkalinity", water.alkalinity_mg_l_caco3, 0.0, 1000.0, "mg/L as CaCO3")
    within("hardness", water.hardness_mg_l_caco3, 0.0, 1000.0, "mg/L as CaCO3")
    within("temperature", water.temperature_c, 0.0, 50.0, "°C")
    bare = _without_carbon(water)
    return replace(bare, carbon=at_ph(bare, water.ph).carbon)


def mixed_totals(tank: Totals, source: Totals, fraction: float) -> Totals:
    """Every conserved amount and the temperature when `fraction` (0-1) is source water.

    Raises ModelDomainError for a fraction outside 0-1.

    >>> a, b = (totals_of(Water(7.0, 50.0, 80.0, t)) for t in (25.0, 15.0))
    >>> mixed_totals(a, b, 0.5).temperature_c
    20.0
    """
    return Totals(
        mixed(tank.temperature_c, source.temperature_c, fraction),
        mixed(tank.alkalinity, source.alkalinity, fraction),
        mixed(tank.carbon, source.carbon, fraction),
        mixed(tank.calcium, source.calcium, fraction),
        mixed(tank.magnesium, source.magnesium, fraction),
        mixed(tank.sodium, source.sodium, fraction),
        mixed(tank.chloride, source.chloride, fraction),
    )


def mixture(tank: Water, source: Water, fraction: float, co2_atm: float = AIR_CO2.value) -> Mixture:
    """The tank when `fraction` (0-1) of it is source water.

    Raises ModelDomainError for waters outside the ranges of `Water` and fractions outside 0-1.

    >>> m = mixture(Water(7.2, 60.0, 90.0, 25.0), Water(7.8, 120.0, 150.0, 15.0), 0.25)
    >>> round(m.ph_closed, 2), round(m.ph_open, 2)
    (7.36, 8.31)
    """
    totals = mixed_totals(totals_of(tank), totals_of(source), fraction)
    at_once = closed(totals)
    return Mixture(
        at_once.ph,
        ph_open(totals, co2_atm),
        totals.temperature_c,
        totals.alkalinity * _MG_PER_EQ,
        (totals.calcium + totals.magnesium) * _MG_PER_MOL,
        totals.carbon * 1000.0,
        at_once.ionic_strength,
    )


def ph_closed(totals: Totals) -> float:
    """pH of a water from its alkalinity and carbon, without exchange with air.

    Raises ModelDomainError when no pH between 2 and 12 fits.

    >>> round(ph_closed(totals_of(Water(7.4, 80.0, 100.0, 25.0))), 6)
    7.4
    """
    return closed(totals).ph


def ph_open(totals: Totals, co2_atm: float = AIR_CO2.value) -> float:
    """pH of a water in equilibrium with air of this CO2 [atm, 1e-5 to 0.1]; carbon follows.

    The air of a room holds more than outdoor air, 6e-4 to 1.5e-3 (from memory). Raises
    ModelDomainError outside, or when no pH between 2 and 12 fits.

    >>> round(ph_open(totals_of(Water(7.4, 80.0, 100.0, 25.0))), 2)
    8.35
    """
    within("CO2 of the air", co2_atm, *_CO2_RANGE_ATM, "atm")
    return with_air(totals, co2_atm).ph


def ph_over_hours(
    totals: Totals,
    hours: float,
    exchange_per_h: float = CO2_EXCHANGE_QUIET.value,
    co2_atm: float = AIR_CO2.value,
) -> float:
    """pH of a water `hours` (0-1000) after it was poured, as CO2 goes to or comes from air.

    dC/dt = -k ([CO2] - [CO2] at air), `exchange_per_h` k 0-20: the rate is a judgement
    (constants.CO2_EXCHANGE_QUIET, CO2_EXCHANGE_AERATED), the two ends are not. Raises
    ModelDomainError outside.

    >>> totals = totals_of(Water(7.4, 80.0, 100.0, 25.0))
    >>> round(ph_over_hours(totals, 6.0), 1), round(ph_over_hours(totals, 1000.0), 2)
    (7.8, 8.35)
    """
    within("hours", hours, 0.0, 1000.0, "h")
    within("gas exchange", exchange_per_h, 0.0, 20.0, "1/h")
    within("CO2 of the air", co2_atm, *_CO2_RANGE_ATM, "atm")
    at_air = with_air(totals, co2_atm)
    span = exchange_per_h * hours
    steps = max(8, min(400, round(8.0 * span)))
    gap = totals.carbon - at_air.carbon
    for _ in range(steps):
        gap = _exchanged(totals, at_air.carbon, at_air.co2, gap, span / steps)
    return closed(replace(totals, carbon=at_air.carbon + gap)).ph


def alkalinity_after(totals: Totals, added_mg_l_caco3: float) -> Totals:
    """A water whose alkalinity changed by `added_mg_l_caco3` (negative: acid), nothing else.

    >>> round(alkalinity_after(totals_of(Water(7.4, 80.0, 100.0, 25.0)), -10.0).alkalinity, 6)
    0.001399
    """
    return replace(totals, alkalinity=totals.alkalinity + added_mg_l_caco3 / _MG_PER_EQ)


def _exchanged(totals: Totals, carbon: float, co2: float, gap: float, span: float) -> float:
    # The chord from equilibrium to here stands for d[CO2]/dC: its exponential cannot overshoot
    if abs(gap) < 1e-12:
        return gap
    steepness = (closed(replace(totals, carbon=carbon + gap)).co2 - co2) / gap
    return gap * (1.0 + expm1(-steepness * span))


def _without_carbon(water: Water) -> Totals:
    alkalinity = water.alkalinity_mg_l_caco3 / _MG_PER_EQ
    hardness = water.hardness_mg_l_caco3 / _MG_PER_MOL
    missing = alkalinity - 2.0 * hardness
    calcium = hardness * CALCIUM_SHARE.value
    return Totals(
        water.temperature_c,
        alkalinity,
        0.0,
        calcium,
        hardness - calcium,
        max(missing, 0.0),
        max(-missing, 0.0),
    )
