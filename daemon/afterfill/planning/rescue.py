"""After a carry-over: how much neutraliser the whole tank needs, and what follows from it.

The dose is for the 99 % side of what is believed, because a modest surplus does less harm than a
shortage.
"""

from dataclasses import dataclass, replace
from math import exp, inf

from afterfill.chemistry.acid_base import nh3_fraction
from afterfill.chemistry.carbonate import (
    Water,
    alkalinity_after,
    ph_over_hours,
    totals_of,
)
from afterfill.chemistry.carbonate_system import Totals
from afterfill.chemistry.constants import CO2_EXCHANGE_AERATED
from afterfill.chemistry.constants_fish import HOCL_TOXICITY
from afterfill.chemistry.neutraliser import Effect, behaviour, effect, needed_ml
from afterfill.chemistry.neutraliser_afterwards import NITRIFIED, Afterwards, afterwards
from afterfill.chemistry.standing import Interval
from afterfill.chemistry.toxicity import TimeLeft, chloramine_equivalent_mg_l, harm_within
from afterfill.errors import ModelDomainError
from afterfill.planning.asked import Bottle, Bounds, TankBefore
from afterfill.planning.day_ahead import AmmoniaCriteria, PhAhead, criteria_at, ph_ahead
from afterfill.planning.dose import rounded_up_ml, strong_mg
from afterfill.planning.found import Z99, Found
from afterfill.planning.side_effects import saturated_mg_l
from afterfill.planning.water_after import sour_ph, usual_co2_atm

SAFETY = 1.5  # of the posterior's upper end; a modest surplus does less harm than a shortage
_AIR_H = (1.0, 2.0, 4.0, 8.0, 24.0)
_NO_RISE_PH = 0.02  # less is no change: our judgement


@dataclass(frozen=True, slots=True)
class FishTime:
    """Within what time harm is likely: at the middle to fish like young salmon, at the 99 % point
    to more sensitive ones (chemistry.toxicity.harm_within). Fed fish bore more."""

    middle: TimeLeft
    upper: TimeLeft


@dataclass(frozen=True, slots=True)
class Air:
    """How long [h] to aerate strongly without breaking a limit that the tank keeps, an hour at the
    least, and the pH then."""

    hours: float
    ph: float


@dataclass(frozen=True, slots=True)
class RescuePlan:
    """What to do and expect. `dose_ml` is None when the strength is not known, and 0 when there is
    nothing to take away.

    `released_mg_l`: ammonia [mg/L as N] that neutralising sets free, at the most. `change_share`:
    share of the tank (0-1) to change, treated, when the residual is gone, so that free ammonia is
    at its limit, and total ammonia at EPA's acute criterion, at the highest pH of the next 24 h;
    0: none needed; None: not known. `change_helps` false: no change gets there. `ph_ahead`: those
    24 h, were the tank aerated throughout (acid of the neutraliser not counted: the high side);
    `free_ammonia_mg_l`: over the same pH, from lowest to highest; `criteria` at the highest.
    `air`: how long the plan has it aerated. `oxygen_at_risk_mg_l`: taken in the end;
    `oxygen_missing_mg_l`: the most at one time; `alkalinity_later_mg_l_caco3`: what the days after
    take; `ph_lowest`: with that; `share_as_advised`: un-ionised share of ammonia when aerated so
    long. `over`: which limits may be broken when all is done as advised.
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
    oxygen_missing_mg_l: float = 0.0
    alkalinity_later_mg_l_caco3: float = 0.0
    ph_lowest: float | None = None
    air: Air | None = None
    share_as_advised: float = 0.0
    over: tuple[str, ...] = ()

    @property
    def oxygen_left_mg_l(self) -> float | None:
        """The least oxygen [mg/L] of a tank that was saturated."""
        full = self.oxygen_saturated_mg_l
        return None if full is None else full - self.oxygen_missing_mg_l

    @property
    def free_as_advised_mg_l(self) -> float | None:
        """The most un-ionised ammonia [mg/L as N] when aerated for as long as advised."""
        free, ahead, total = self.free_ammonia_mg_l, self.ph_ahead, self.total_ammonia_mg_l
        if free is None or ahead is None or total is None or self.air is None:
            return None
        return total.high * self.share_as_advised


def rescue_dose_ml(
    litres: float, residual_high_mg_l: float, mg_cl2_per_ml: float, safety: float = SAFETY
) -> float:
    """Neutraliser [mL] for `litres` of tank water that may hold `residual_high_mg_l` [mg/L as
    Cl2], at a strength in mg Cl2 per mL. Raises ModelDomainError for negative amounts.

    >>> round(rescue_dose_ml(120.0, 0.4, 40.0), 2)
    1.8
    """
    return needed_ml(litres, residual_high_mg_l, mg_cl2_per_ml, safety)


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
    safety = safety_of(agent)
    nothing = found.nothing(bounds.residual_oxidant_mg_l)
    high = 0.0 if nothing else found.upper.mg_l
    dose_ml = 0.0 if nothing else _dose_ml(tank.litres, high, bottle, safety)
    combined = high * (1.0 - (found.free_share or 0.0))
    acted = effect(agent, high - combined, combined)
    later = _later(tank, found, bottle, dose_ml, high, safety)
    total = _total(tank, acted.ammonia_released_mg_l, ammonia_counts_bound)
    given = max(0.0, -(acted.alkalinity_used_mg_l_caco3 or 0.0))
    water = _water(tank, given)
    ahead = _ahead(water)
    free = _free(tank, total, ahead)
    criteria = None if ahead is None else criteria_at(ahead.highest, tank.temperature_c or 0.0)
    most = _most(total, free, criteria, bounds.free_ammonia_mg_l)
    change, helps = _change(total, most, next_water_ammonia_mg_l)
    air = None if nothing else _air(tank, water, total, bounds)
    acid = later.alkalinity_mg_l_caco3 + max(0.0, acted.alkalinity_used_mg_l_caco3 or 0.0)
    acid += NITRIFIED.value * acted.ammonia_released_mg_l
    plan = RescuePlan(
        found=found,
        dose_ml=dose_ml,
        safety=safety,
        minutes=behaviour(agent).minutes_combined,
        released_mg_l=acted.ammonia_released_mg_l,
        total_ammonia_mg_l=total,
        free_ammonia_mg_l=free,
        oxygen_at_risk_mg_l=_in_the_end(acted, later),
        oxygen_saturated_mg_l=saturated_mg_l(tank.temperature_c),
        alkalinity_used_mg_l_caco3=acted.alkalinity_used_mg_l_caco3,
        change_share=change,
        change_helps=helps,
        fish=_fish(tank, found),
        ph_ahead=ahead,
        criteria=criteria,
        oxygen_missing_mg_l=later.oxygen_missing_mg_l,
        alkalinity_later_mg_l_caco3=acid,
        ph_lowest=_lowest(tank, acid),
        air=air,
        share_as_advised=_share_at(tank, air, ahead),
    )
    return plan if nothing else replace(plan, over=_over(plan, tank, bounds))


def safety_of(agent: str) -> float:
    """By how much a rescue dose exceeds the nominal need, for the bottle's strength.

    >>> safety_of("thiosulfate")
    1.5
    """
    return max(SAFETY, exp(Z99 * behaviour(agent).strength_sigma))


def _later(
    tank: TankBefore,
    found: Found,
    bottle: Bottle | None,
    dose_ml: float | None,
    high: float,
    safety: float,
) -> Afterwards:
    """What the neutraliser takes in the end, at the most: all of a strong bottle is in, and the
    residual at its low end after all."""
    given = high * safety
    if bottle is not None and dose_ml is not None:
        given = strong_mg(bottle, dose_ml) / tank.litres
    surplus = max(0.0, given - found.residual_mg_l.low)
    agent = "other" if bottle is None else bottle.agent
    return afterwards(agent, min(given, high), surplus)


def _in_the_end(acted: Effect, later: Afterwards) -> float | None:
    return None if acted.oxygen_at_risk_mg_l is None else later.oxygen_mg_l


def _water(tank: TankBefore, given_mg_l: float) -> Totals | None:
    """The tank's water with the alkalinity that the agent gives [mg/L as CaCO3]; hardness, which
    hardly counts, is taken as the alkalinity."""
    ph, celsius, alkalinity = tank.ph, tank.temperature_c, tank.alkalinity_mg_l_caco3
    if ph is None or celsius is None or alkalinity is None:
        return None
    try:
        return alkalinity_after(totals_of(Water(ph, alkalinity, alkalinity, celsius)), given_mg_l)
    except ModelDomainError:
        return None


def _lowest(tank: TankBefore, acid_mg_l: float) -> float | None:
    """pH when the days after have taken their alkalinity, with as much CO2 as before."""
    water = _water(tank, 0.0)
    if water is None:
        return None
    try:
        return sour_ph(alkalinity_after(water, -acid_mg_l), usual_co2_atm(water))
    except ModelDomainError:
        return None


def _air(
    tank: TankBefore, water: Totals | None, total: Interval | None, bounds: Bounds
) -> Air | None:
    if water is None:
        return None
    try:
        phs = ph_over_hours(water, _AIR_H, CO2_EXCHANGE_AERATED.value)
    except ModelDomainError:
        return None
    best, now = Air(_AIR_H[0], phs[0]), tank.ph or 0.0
    for hours, ph in zip(_AIR_H, phs, strict=True):
        free = 0.0 if total is None else total.high * nh3_fraction(ph, tank.temperature_c or 0.0)
        if ph > now and (ph > bounds.ph[1] or free > bounds.free_ammonia_mg_l):
            break
        best = Air(hours, ph)
    return best


def _share_at(tank: TankBefore, air: Air | None, ahead: PhAhead | None) -> float:
    if air is None or ahead is None:
        return 0.0
    return float(nh3_fraction(max(ahead.now, air.ph), tank.temperature_c or 0.0))


def _over(plan: RescuePlan, tank: TankBefore, bounds: Bounds) -> tuple[str, ...]:
    """Which limits may be broken although all is done as advised."""
    free, left, total = plan.free_as_advised_mg_l, plan.oxygen_left_mg_l, plan.total_ammonia_mg_l
    found = {
        "free ammonia": free is not None and free > bounds.free_ammonia_mg_l,
        "oxygen": left is not None and left < bounds.oxygen_mg_l,
    }
    if plan.air is not None and plan.ph_lowest is not None and tank.ph is not None:
        criteria = criteria_at(max(tank.ph, plan.air.ph), tank.temperature_c or 0.0)
        acute = inf if criteria is None else criteria.acute_mg_l
        found["total ammonia"] = total is not None and total.high > acute
        low, high = min(bounds.ph[0], tank.ph), max(bounds.ph[1], tank.ph + _NO_RISE_PH)
        found["pH"] = plan.ph_lowest < low - _NO_RISE_PH or plan.air.ph > high
    return tuple(name for name, broken in found.items() if broken)


def _dose_ml(litres: float, high: float, bottle: Bottle | None, safety: float) -> float | None:
    if bottle is None or bottle.mg_cl2_per_ml is None:
        return None
    return rounded_up_ml(rescue_dose_ml(litres, high, bottle.mg_cl2_per_ml, safety), bottle.unit)


def _total(tank: TankBefore, released: float, counts_bound: bool) -> Interval | None:
    if tank.ammonia_mg_l is None:
        return None
    more = 0.0 if counts_bound else released
    now = tank.ammonia_mg_l
    return Interval(now.low, now.middle + 0.5 * more, now.high + more)


def _ahead(water: Totals | None) -> PhAhead | None:
    try:
        return None if water is None else ph_ahead(water)
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


def _fish(tank: TankBefore, found: Found) -> FishTime | None:
    """With the concentration taken as constant, which is the safe side."""
    share = found.free_most if found.free_share is None else found.free_share
    try:
        middle = _equivalent(tank, share, found.residual_mg_l.middle)
        upper = _equivalent(tank, max(share, found.free_most), found.upper.mg_l)
    except ModelDomainError:
        return None
    return FishTime(harm_within(middle, sensitive=False), harm_within(upper, sensitive=True))


def _equivalent(tank: TankBefore, free_share: float, residual_mg_l: float) -> float:
    """Chloramine as harmful as this; without pH or temperature all free chlorine is HOCl."""
    free = residual_mg_l * free_share
    combined = residual_mg_l - free
    if tank.ph is None or tank.temperature_c is None:
        return combined + HOCL_TOXICITY.value * free
    return chloramine_equivalent_mg_l(free, combined, tank.ph, tank.temperature_c)
