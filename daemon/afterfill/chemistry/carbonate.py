"""The pH of tank water, of its mixture with source water, and how air moves it afterwards.

Alkalinity, dissolved carbon and hardness mix in proportion; pH follows from them. No mineral
precipitates, mg/L is taken as mg/kg. Within 0.005 of PHREEQC (Amm.dat) for pH 6-9.5, 5-35 degrees
C, alkalinity 5-300 and hardness to 400 mg/L as CaCO3. What a real mixture does is limited by the pH
meter (0.05) and by alkalinity kits (10 %), far above that.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil, exp

from afterfill.chemistry.carbonate_system import Speciation, Totals, at_ph, closed, with_air
from afterfill.chemistry.constants import AIR_CO2, CACO3, CALCIUM_SHARE, CO2_EXCHANGE_QUIET
from afterfill.chemistry.domain import within
from afterfill.chemistry.mixing import mixed

_MG_PER_EQ = 1000.0 * CACO3.value / 2.0
_MG_PER_MOL = 1000.0 * CACO3.value
_CO2_RANGE_ATM = (1e-5, 0.1)
_STEPS_PER_SPAN = 2.0
_NO_GAP = 1e-6  # of the carbon: 1e-5 of a pH


@dataclass(frozen=True, slots=True)
class Water:
    """What a keeper knows of a water: pH 5-10.5, alkalinity and hardness [mg/L as CaCO3, 0-1000],
    temperature [0-50 degrees C]."""

    ph: float
    alkalinity_mg_l_caco3: float
    hardness_mg_l_caco3: float
    temperature_c: float


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


def ph_over_hours(
    totals: Totals,
    hours: Sequence[float],
    exchange_per_h: float = CO2_EXCHANGE_QUIET.value,
    co2_atm: float = AIR_CO2.value,
) -> list[float]:
    """pH of a water at each of `hours` (rising, 0-1000) from now, as CO2 goes to or comes from air.

    dC/dt = -k ([CO2] - [CO2] at air), `exchange_per_h` k 0-20: the rate is a judgement
    (constants.CO2_EXCHANGE_QUIET, CO2_EXCHANGE_AERATED), the two ends are not; what breathes in
    the water is not counted. pH goes one way, so the highest is the first or the last. `co2_atm`
    1e-5 to 0.1: a room's air holds more than outdoor air, 6e-4 to 1.5e-3 (from memory). Within
    0.002 of PHREEQC's kinetics. Raises ModelDomainError outside, and for hours that fall.

    >>> totals = totals_of(Water(7.4, 80.0, 100.0, 25.0))
    >>> [round(ph, 2) for ph in ph_over_hours(totals, [0.0, 6.0, 24.0, 1000.0])]
    [7.4, 7.79, 8.23, 8.35]
    """
    within("gas exchange", exchange_per_h, 0.0, 20.0, "1/h")
    within("CO2 of the air", co2_atm, *_CO2_RANGE_ATM, "atm")
    at_air, now_h, course = with_air(totals, co2_atm), 0.0, []
    gap = totals.carbon - at_air.carbon
    for hour in hours:
        within("hours", hour, now_h, 1000.0, "h")
        gap = _exchanged(totals, at_air, gap, exchange_per_h * (hour - now_h))
        course.append(closed(replace(totals, carbon=at_air.carbon + gap)).ph)
        now_h = hour
    return course


def alkalinity_after(totals: Totals, added_mg_l_caco3: float) -> Totals:
    """A water whose alkalinity changed by `added_mg_l_caco3` (negative: acid), nothing else.

    >>> round(alkalinity_after(totals_of(Water(7.4, 80.0, 100.0, 25.0)), -10.0).alkalinity, 6)
    0.001399
    """
    return replace(totals, alkalinity=totals.alkalinity + added_mg_l_caco3 / _MG_PER_EQ)


def _exchanged(totals: Totals, at_air: Speciation, gap: float, span: float) -> float:
    """What is left of the carbon beyond equilibrium [mol/L] after `span` times of exchange."""

    def steepness(gap: float) -> float:
        # The chord from equilibrium stands for d[CO2]/dC: its exponential cannot overshoot
        return (closed(replace(totals, carbon=at_air.carbon + gap)).co2 - at_air.co2) / gap

    steps = ceil(_STEPS_PER_SPAN * span)
    for _ in range(steps):
        if abs(gap) < _NO_GAP * at_air.carbon:
            break
        halfway = gap * exp(-0.5 * steepness(gap) * span / steps)
        gap *= exp(-steepness(halfway) * span / steps)
    return gap


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
