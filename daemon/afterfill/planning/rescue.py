"""After a carry-over: how much neutraliser the whole tank needs, and what follows from it.

The dose is for the 99 % side of what is believed, because a modest surplus does less harm than a
shortage.
"""

from dataclasses import dataclass
from math import exp, inf
from typing import Literal

from afterfill.chemistry.acid_base import nh3_fraction
from afterfill.chemistry.carbonate import Water, alkalinity_after, totals_of
from afterfill.chemistry.constants import DPD_KIT
from afterfill.chemistry.kits import Z95, by_kit, kit_sd
from afterfill.chemistry.neutraliser import behaviour, effect, needed_ml
from afterfill.chemistry.standing import Interval
from afterfill.chemistry.tank_processes import oxygen_saturation_mg_l
from afterfill.chemistry.toxicity import TimeLeft, chloramine_equivalent_mg_l, time_left
from afterfill.errors import ModelDomainError
from afterfill.planning.asked import Bottle, Bounds, TankBefore
from afterfill.planning.day_ahead import AmmoniaCriteria, PhAhead, criteria_at, ph_ahead
from afterfill.planning.dose import rounded_up_ml

SAFETY = 1.5  # of the posterior's upper end; a modest surplus does less harm than a shortage
_Z99 = 2.326
_FLOOR_MG_L = 1e-6

Extension = Literal["log-normal", "normal", "kit", "most-the-source-holds"]


@dataclass(frozen=True, slots=True)
class Upper:
    """The 99 % point of the residual [mg/L as Cl2], and how it was come by."""

    mg_l: float
    by: Extension


@dataclass(frozen=True, slots=True)
class Found:
    """The residual [mg/L as Cl2] that is in the tank, its 99 % point, and how much of it is free
    (0-1, None: not known)."""

    residual_mg_l: Interval
    upper: Upper
    free_share: float | None = None


@dataclass(frozen=True, slots=True)
class FishTime:
    """How long until half of juvenile chinook salmon would die, at the middle and the 99 % point;
    other fish, fed fish and chlorine itself may differ several times."""

    middle: TimeLeft
    upper: TimeLeft


@dataclass(frozen=True, slots=True)
class RescuePlan:
    """What to do and expect. `dose_ml` is None when the strength is not known.

    `released_mg_l`: ammonia [mg/L as N] that neutralising sets free, at the most. `change_share`:
    share of the tank (0-1) to change, treated, when the residual is gone, so that free ammonia is
    at its limit, and total ammonia at EPA's acute criterion, at the highest pH of the next 24 h;
    0: none needed; None: not known. `change_helps` false: no change gets there. `ph_ahead`: those
    24 h, since the plan has the tank aerated (acid of the neutraliser not counted: the high side);
    `free_ammonia_mg_l`: over the same pH, from lowest to highest; `criteria` at the highest.
    """

    found: Found
    dose_ml: float | None
    safety: float
    minutes: tuple[float, float] | None
    released_mg_l: float
    total_ammonia_mg_l: Interval | None
    free_ammonia_mg_l: Interval | None
    oxygen_at_risk_mg_l: float | None
    oxygen_saturated_mg_l: float | None
    alkalinity_used_mg_l_caco3: float | None
    change_share: float | None
    change_helps: bool
    fish: FishTime | None
    ph_ahead: PhAhead | None
    criteria: AmmoniaCriteria | None


def rescue_dose_ml(
    litres: float, residual_high_mg_l: float, mg_cl2_per_ml: float, safety: float = SAFETY
) -> float:
    """Neutraliser [mL] for `litres` of tank water that may hold `residual_high_mg_l` [mg/L as
    Cl2], at a strength in mg Cl2 per mL. Raises ModelDomainError for negative amounts.

    >>> round(rescue_dose_ml(120.0, 0.4, 40.0), 2)
    1.8
    """
    return needed_ml(litres, residual_high_mg_l, mg_cl2_per_ml, safety)


def upper_of(residual: Interval, most_mg_l: float = inf) -> Upper:
    """The 99 % point [mg/L] of a belief of which the 50 and 95 % points are known.

    Extended as a log-normal, q99 = q50 (q95/q50)^(2.326/1.645); as a normal where q50 is nothing.
    `most_mg_l`: what the source can hold, which a tank cannot exceed. The 95 % point always stays
    below. Source: quantiles of the normal distribution.

    >>> upper = upper_of(Interval(0.1, 0.2, 0.4))
    >>> round(upper.mg_l, 3), upper.by
    (0.533, 'log-normal')
    """
    if residual.middle > _FLOOR_MG_L:
        spread = residual.high / residual.middle
        upper = Upper(residual.middle * spread ** (_Z99 / Z95), "log-normal")
    else:
        upper = Upper(residual.middle + (residual.high - residual.middle) * _Z99 / Z95, "normal")
    if upper.mg_l > most_mg_l:
        return Upper(max(most_mg_l, residual.high), "most-the-source-holds")
    return upper


def found_by_kit(total_chlorine_mg_l: float) -> Found:
    """What a DPD total-chlorine test [mg/L as Cl2] says, with the error of a hobby kit.

    Raises ModelDomainError for a negative amount.

    >>> round(found_by_kit(0.5).upper.mg_l, 3)
    0.743
    """
    if not total_chlorine_mg_l >= 0.0:
        raise ModelDomainError(f"the residual is {total_chlorine_mg_l:g} mg/L: give 0 or more")
    upper_mg_l = total_chlorine_mg_l + _Z99 * kit_sd(DPD_KIT, total_chlorine_mg_l)
    return Found(by_kit(DPD_KIT, total_chlorine_mg_l), Upper(upper_mg_l, "kit"), None)


def plan_rescue(
    tank: TankBefore,
    found: Found,
    bottle: Bottle | None,
    bounds: Bounds,
    *,
    ammonia_counts_bound: bool,
    next_water_ammonia_mg_l: float = 0.0,
) -> RescuePlan:
    """The plan for a tank that holds `found`.

    `ammonia_counts_bound`: the tank's ammonia includes what chloramine holds (an estimate's does, a
    kit's is taken not to). `next_water_ammonia_mg_l`: of treated source water [mg/L as N]. Raises
    ModelDomainError for negative amounts and unknown agents.
    """
    agent = "other" if bottle is None else bottle.agent
    safety = max(SAFETY, exp(_Z99 * behaviour(agent).strength_sigma))
    high = found.upper.mg_l
    combined = high * (1.0 - (found.free_share or 0.0))
    acted = effect(agent, high - combined, combined, _surplus(found, safety))
    total = _total(tank, acted.ammonia_released_mg_l, ammonia_counts_bound)
    ahead = _ahead(tank, acted.alkalinity_used_mg_l_caco3 or 0.0)
    free = _free(tank, total, ahead)
    criteria = None if ahead is None else criteria_at(ahead.highest, tank.temperature_c or 0.0)
    most = _most(total, free, criteria, bounds.free_ammonia_mg_l)
    change, helps = _change(total, most, next_water_ammonia_mg_l)
    return RescuePlan(
        found=found,
        dose_ml=_dose_ml(tank.litres, high, bottle, safety),
        safety=safety,
        minutes=behaviour(agent).minutes_combined,
        released_mg_l=acted.ammonia_released_mg_l,
        total_ammonia_mg_l=total,
        free_ammonia_mg_l=free,
        oxygen_at_risk_mg_l=acted.oxygen_at_risk_mg_l,
        oxygen_saturated_mg_l=_saturated(tank.temperature_c),
        alkalinity_used_mg_l_caco3=acted.alkalinity_used_mg_l_caco3,
        change_share=change,
        change_helps=helps,
        fish=_fish(tank, found),
        ph_ahead=ahead,
        criteria=criteria,
    )


def _surplus(found: Found, safety: float) -> float:
    """Most neutraliser left over [mg/L as Cl2]: the residual is at its low end after all."""
    return max(0.0, found.upper.mg_l * safety - found.residual_mg_l.low)


def _dose_ml(litres: float, high: float, bottle: Bottle | None, safety: float) -> float | None:
    if bottle is None or bottle.mg_cl2_per_ml is None:
        return None
    return rounded_up_ml(rescue_dose_ml(litres, high, bottle.mg_cl2_per_ml, safety))


def _total(tank: TankBefore, released: float, counts_bound: bool) -> Interval | None:
    if tank.ammonia_mg_l is None:
        return None
    more = 0.0 if counts_bound else released
    now = tank.ammonia_mg_l
    return Interval(now.low, now.middle + 0.5 * more, now.high + more)


def _ahead(tank: TankBefore, alkalinity_used_mg_l: float) -> PhAhead | None:
    """The pH of the day ahead; hardness, which hardly counts, is taken as the alkalinity. Of the
    neutraliser only the alkalinity that it gives is counted."""
    ph, celsius, alkalinity = tank.ph, tank.temperature_c, tank.alkalinity_mg_l_caco3
    if ph is None or celsius is None or alkalinity is None:
        return None
    try:
        water = totals_of(Water(ph, alkalinity, alkalinity, celsius))
        return ph_ahead(alkalinity_after(water, max(0.0, -alkalinity_used_mg_l)))
    except ModelDomainError:
        return None


def _free(tank: TankBefore, total: Interval | None, ahead: PhAhead | None) -> Interval | None:
    if total is None or ahead is None or tank.temperature_c is None:
        return None
    phs = sorted((ahead.now, ahead.still, ahead.aerated))
    low, middle, high = (nh3_fraction(ph, tank.temperature_c) for ph in phs)
    return Interval(low * total.low, middle * total.middle, high * total.high)


def _most(
    total: Interval | None,
    free: Interval | None,
    criteria: AmmoniaCriteria | None,
    limit_mg_l: float,
) -> float | None:
    """The most total ammonia [mg/L as N] that keeps the limit and EPA's acute criterion."""
    if total is None or free is None:
        return None
    by_limit = inf if free.high <= 0.0 else limit_mg_l * total.high / free.high
    return by_limit if criteria is None else min(by_limit, criteria.acute_mg_l)


def _change(
    total: Interval | None, most_mg_l: float | None, next_mg_l: float
) -> tuple[float | None, bool]:
    """Share of the tank to change, and whether a change can bring ammonia down to `most_mg_l`."""
    if total is None or most_mg_l is None:
        return None, True
    if total.high <= most_mg_l:
        return 0.0, True
    if next_mg_l >= most_mg_l:
        return None, False
    return (total.high - most_mg_l) / (total.high - next_mg_l), True


def _saturated(temperature_c: float | None) -> float | None:
    if temperature_c is None or not 0.0 <= temperature_c <= 40.0:
        return None
    return oxygen_saturation_mg_l(temperature_c)


def _fish(tank: TankBefore, found: Found) -> FishTime | None:
    """With the concentration taken as constant, which is the safe side."""
    try:
        middle = _equivalent(tank, found, found.residual_mg_l.middle)
        upper = _equivalent(tank, found, found.upper.mg_l)
    except ModelDomainError:
        return None
    return FishTime(time_left(middle), time_left(upper))


def _equivalent(tank: TankBefore, found: Found, residual_mg_l: float) -> float:
    free = residual_mg_l * (found.free_share or 0.0)
    if free == 0.0 or tank.ph is None or tank.temperature_c is None:
        return residual_mg_l
    return chloramine_equivalent_mg_l(free, residual_mg_l - free, tank.ph, tank.temperature_c)
