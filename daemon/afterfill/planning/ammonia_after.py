"""Ammonia of the tank after a refill: total, un-ionised, and how long the filter needs."""

from dataclasses import dataclass
from math import log10

from afterfill.chemistry.acid_base import nh3_fraction, nh4_pk
from afterfill.chemistry.mixing import mixed
from afterfill.chemistry.standing import Interval
from afterfill.chemistry.tank_processes import filter_hours
from afterfill.errors import ModelDomainError
from afterfill.planning.asked import TankBefore
from afterfill.planning.day_ahead import AmmoniaCriteria, criteria_at
from afterfill.planning.water_after import WaterAfter


@dataclass(frozen=True, slots=True)
class FreeAmmonia:
    """Un-ionised ammonia [mg/L as N]: before, and at the three moments of PhAfter. `aerated`: this
    plan has the tank aerated, so that pH in air's CO2 is reached within a day and counts."""

    before: Interval
    at_once: Interval
    settled: Interval
    in_air: Interval
    aerated: bool

    @property
    def judged_mg_l(self) -> float:
        """The high end of the next 24 h that is held against the limit."""
        usual = max(self.at_once.high, self.settled.high)
        return max(usual, self.in_air.high) if self.aerated else usual


@dataclass(frozen=True, slots=True)
class AmmoniaAfter:
    """Ammonia [mg/L as N] after the refill; None where it cannot be told.

    `brought_mg_l`: what the refill adds to each litre of the tank. `ph_at_limit`: the pH at which
    the high end of the total would reach the limit. `hours_over_limit`: until a mature filter has
    the un-ionised ammonia back at the limit, production by fish not counted. `criteria`: EPA's at
    the highest pH of the next 24 h, as the plan has it; `criteria_in_air`: were it aerated.
    """

    brought_mg_l: Interval
    total_mg_l: Interval | None
    free_mg_l: FreeAmmonia | None
    ph_at_limit: float | None
    hours_over_limit: Interval | None
    hours_unknown_because: str | None
    criteria: AmmoniaCriteria | None = None
    criteria_in_air: AmmoniaCriteria | None = None


def ammonia_after(
    tank: TankBefore,
    tap_ammonia: Interval,
    fraction: float,
    water: WaterAfter,
    limit_mg_l: float,
    *,
    aerated: bool = False,
) -> AmmoniaAfter:
    """Ammonia when `fraction` (0-1) of the tank is source water with `tap_ammonia` [mg/L as N].

    Raises ModelDomainError for a fraction outside 0-1.
    """
    brought = _times(fraction, tap_ammonia)
    if tank.ammonia_mg_l is None:
        return AmmoniaAfter(brought, None, None, None, None, "the tank's ammonia is not known")
    total = Interval(
        mixed(tank.ammonia_mg_l.low, tap_ammonia.low, fraction),
        mixed(tank.ammonia_mg_l.middle, tap_ammonia.middle, fraction),
        mixed(tank.ammonia_mg_l.high, tap_ammonia.high, fraction),
    )
    at_limit = _ph_at(limit_mg_l, total.high, water.temperature_c)
    free = _free(tank, total, water, aerated=aerated)
    if free is None:
        return AmmoniaAfter(brought, total, None, at_limit, None, water.ph_unknown_because)
    criteria = [_criteria(tank, water, aerated=in_air) for in_air in (aerated, True)]
    try:
        hours = _hours(total, free, limit_mg_l)
    except ModelDomainError as error:
        return AmmoniaAfter(brought, total, free, at_limit, None, str(error), *criteria)
    return AmmoniaAfter(brought, total, free, at_limit, hours, None, *criteria)


def _criteria(tank: TankBefore, water: WaterAfter, *, aerated: bool) -> AmmoniaCriteria | None:
    if water.ph is None or water.temperature_c is None or tank.temperature_c is None:
        return None
    warmest_c = max(water.temperature_c, tank.temperature_c)
    return criteria_at(water.ph.highest(aerated=aerated), warmest_c)


def _free(
    tank: TankBefore, total: Interval, water: WaterAfter, *, aerated: bool
) -> FreeAmmonia | None:
    ph, after_c, before_c = water.ph, water.temperature_c, tank.temperature_c
    if ph is None or after_c is None or before_c is None:
        return None
    if tank.ph is None or tank.ammonia_mg_l is None:
        return None
    low, high = ph.closed_span
    return FreeAmmonia(
        _times(nh3_fraction(tank.ph, before_c, ph.ionic_strength), tank.ammonia_mg_l),
        Interval(
            total.low * nh3_fraction(low, after_c, ph.ionic_strength),
            total.middle * nh3_fraction(ph.closed, after_c, ph.ionic_strength),
            total.high * nh3_fraction(high, after_c, ph.ionic_strength),
        ),
        _times(nh3_fraction(ph.settled, before_c, ph.ionic_strength), total),
        _times(nh3_fraction(ph.in_air, before_c, ph.ionic_strength), total),
        aerated,
    )


def _hours(total: Interval, free: FreeAmmonia, limit_mg_l: float) -> Interval:
    share = free.judged_mg_l / total.high if total.high > 0.0 else 0.0
    if share * total.high <= limit_mg_l:
        return Interval(0.0, 0.0, 0.0)
    target = limit_mg_l / share
    return Interval(
        filter_hours(total.low, target).low,
        filter_hours(total.middle, target).middle,
        filter_hours(total.high, target).high,
    )


def _ph_at(limit_mg_l: float, total_mg_l: float, temperature_c: float | None) -> float | None:
    """pH at which the limit is reached; None when it never is, or the temperature is not known."""
    if temperature_c is None or total_mg_l <= limit_mg_l or not 0.0 <= temperature_c <= 50.0:
        return None
    share = limit_mg_l / total_mg_l
    return nh4_pk(temperature_c) + log10(share / (1.0 - share))


def _times(factor: float, of: Interval) -> Interval:
    return Interval(factor * of.low, factor * of.middle, factor * of.high)
