"""What the neutraliser does besides: oxygen, acid, surplus, and what a drained tank bears of it."""

from dataclasses import dataclass
from typing import Literal

from afterfill.chemistry.carbonate import Water, alkalinity_after, totals_of
from afterfill.chemistry.carbonate_system import closed
from afterfill.chemistry.neutraliser import Effect, effect
from afterfill.chemistry.neutraliser_afterwards import (
    NITRIFIED,
    Afterwards,
    afterwards,
    is_slow,
    within_an_hour,
)
from afterfill.chemistry.standing import Interval
from afterfill.chemistry.tank_processes import oxygen_saturation_mg_l
from afterfill.errors import ModelDomainError
from afterfill.planning.asked import Asked, Bottle, TankBefore, Tap
from afterfill.planning.dose import Dose, strong_mg
from afterfill.planning.water_after import ACID_PH, WaterAfter, water_after

_QUICK_WORTH_AIR, _SLOW_WORTH_AIR = 0.1, 0.25  # of saturation; own judgement
_MOST_OVER_FULL = 2.0  # what dose.parts_of keeps

Pace = Literal["at once", "over days", "not known"]


@dataclass(frozen=True, slots=True)
class Drained:
    """The water that is left in a drained tank when the first part of the dose is in: litres,
    neutraliser [mg/L as the Cl2 it can take], oxygen [mg/L] and pH after an hour; None: not
    known. `too_little`: no parts of a dose fit it."""

    litres: float
    neutraliser_mg_l: float
    oxygen_left_mg_l: float | None
    ph: float | None
    too_little: bool


@dataclass(frozen=True, slots=True)
class SideEffects:
    """What the neutraliser does to the tank; the first two are None where its maker alone knows.

    `oxygen_at_risk_mg_l`: the most that it takes in the end, over days by some agents; beside it
    what the tank holds when saturated with air. `oxygen_missing_mg_l`: the most that is missing at
    one time. `alkalinity_later_mg_l_caco3`: what its oxidation, and the filter's work on the
    ammonia that was brought, take in the end. `surplus_mg_l`: what is left over by the nominal
    strength and the usual source [mg/L as Cl2]; `pace`: how oxygen is taken. Of an agent of unknown
    make, what is missing and later are those of the worst that is known.
    """

    alkalinity_used_mg_l_caco3: float | None
    oxygen_at_risk_mg_l: float | None
    oxygen_saturated_mg_l: float | None
    oxygen_missing_mg_l: float = 0.0
    alkalinity_later_mg_l_caco3: float = 0.0
    surplus_mg_l: float = 0.0
    pace: Pace = "at once"
    drained: Drained | None = None

    @property
    def oxygen_left_mg_l(self) -> float | None:
        """The least oxygen [mg/L] of a tank that was saturated; below 0: more than there is."""
        if self.oxygen_saturated_mg_l is None:
            return None
        return self.oxygen_saturated_mg_l - self.oxygen_missing_mg_l


@dataclass(frozen=True, slots=True)
class Acting:
    """A dose at work in a refill of any size: one into the tank stays as large, others grow with
    the water poured."""

    bottle: Bottle
    dose: Dose
    tap: Tap
    poured: Interval
    litres: float
    tank_litres: float
    nitrogen_mg_l: float

    @property
    def at_once(self) -> Effect:
        """What it does per litre poured, at the most."""
        free = self.poured.high if self.tap.disinfectant == "chlorine" else 0.0
        return effect(self.bottle.agent, free, self.poured.high - free)

    def given_mg_l(self, fraction: float) -> float:
        """The most chlorine that it can take, per litre of tank [mg/L as Cl2]."""
        most = strong_mg(self.bottle, self.dose.ml) / self.tank_litres
        grows = self.dose.at != "tank" and self.litres > 0.0
        return most * fraction * self.tank_litres / self.litres if grows else most

    def later(self, fraction: float) -> Afterwards:
        """What it takes of the tank in the end, when `fraction` of it is source water."""
        given = self.given_mg_l(fraction)
        used = min(given, fraction * self.poured.high)
        surplus = max(0.0, given - fraction * self.poured.low)
        return afterwards(self.bottle.agent, used, surplus)


def acid_later_mg_l(acting: Acting | None, nitrogen_mg_l: float, fraction: float) -> float:
    """Alkalinity [mg/L as CaCO3 of the tank] that the days after take: the neutraliser's oxidation,
    and the filter's work on the ammonia of the source [mg/L as N]."""
    filtered = fraction * nitrogen_mg_l * NITRIFIED.value
    if acting is None:
        return filtered
    at_once = acting.at_once.alkalinity_used_mg_l_caco3 or 0.0
    given_back = fraction * max(0.0, -at_once)  # counted at once; too good to be counted on
    return filtered + acting.later(fraction).alkalinity_mg_l_caco3 + given_back


def refilled_water(
    tank: TankBefore, tap: Tap, acting: Acting | None, nitrogen_mg_l: float, fraction: float
) -> WaterAfter:
    """The tank's water when `fraction` of it is the source's, with what the dose does to it;
    `nitrogen_mg_l`: ammonia of the source [mg/L as N]. Raises ModelDomainError outside 0-1."""
    used = 0.0 if acting is None else acting.at_once.alkalinity_used_mg_l_caco3 or 0.0
    later_mg_l = acid_later_mg_l(acting, nitrogen_mg_l, fraction)
    return water_after(tank, tap, fraction, used, later_mg_l)


def side_effects(
    acting: Acting | None, tank: TankBefore, asked: Asked, fraction: float, water: WaterAfter
) -> SideEffects | None:
    """All of them; None without a dose."""
    if acting is None:
        return None
    at_once, later = acting.at_once, acting.later(fraction)
    unknown, used = acting.bottle.agent == "other", at_once.alkalinity_used_mg_l_caco3
    nominal_mg_l = acting.dose.ml * (acting.bottle.mg_cl2_per_ml or 0.0) / tank.litres
    return SideEffects(
        None if used is None else fraction * used,
        None if unknown else later.oxygen_mg_l,
        saturated_mg_l(water.temperature_c),
        later.oxygen_missing_mg_l,
        acid_later_mg_l(acting, acting.nitrogen_mg_l, fraction),
        max(0.0, nominal_mg_l - fraction * acting.poured.middle),
        "not known" if unknown else "over days" if is_slow(acting.bottle.agent) else "at once",
        _drained(acting, tank, asked),
    )


def _drained(acting: Acting, tank: TankBefore, asked: Asked) -> Drained | None:
    if asked.dose_at != "tank" or asked.mode != "replace" or acting.dose.ml <= 0.0:
        return None
    left, full_mg_l = tank.litres - asked.litres, acting.given_mg_l(1.0)
    if not acting.dose.parts:
        return Drained(max(left, 0.0), 0.0, None, None, too_little=True)
    held_mg_l = min(full_mg_l * tank.litres / left, _MOST_OVER_FULL * full_mg_l)
    hour = within_an_hour(acting.bottle.agent, held_mg_l)
    holds = saturated_mg_l(tank.temperature_c)
    oxygen = None if holds is None else holds - hour.oxygen_mg_l
    ph = ph_with(tank, -hour.alkalinity_mg_l_caco3)
    return Drained(left, held_mg_l, oxygen, ph, too_little=False)


def ph_with(tank: TankBefore, added_mg_l_caco3: float) -> float | None:
    """pH of the tank's water when its alkalinity has changed at once by so much; None where it
    cannot be told. Hardness, which hardly counts, is taken as the alkalinity."""
    if tank.ph is None or tank.temperature_c is None or tank.alkalinity_mg_l_caco3 is None:
        return None
    alkalinity = tank.alkalinity_mg_l_caco3
    try:
        water = totals_of(Water(tank.ph, alkalinity, alkalinity, tank.temperature_c))
    except ModelDomainError:
        return None
    try:
        return closed(alkalinity_after(water, added_mg_l_caco3)).ph
    except ModelDomainError:
        return ACID_PH


def saturated_mg_l(temperature_c: float | None) -> float | None:
    """Oxygen [mg/L] of water saturated with air; None outside 0-40 degrees C."""
    if temperature_c is None or not 0.0 <= temperature_c <= 40.0:
        return None
    return oxygen_saturation_mg_l(temperature_c)


def needs_air(effects: SideEffects | None) -> bool:
    """Whether so much oxygen may be missing that the plan has the tank aerated."""
    share = None if effects is None else oxygen_share(effects)
    if effects is None or share is None:
        return False
    return share > (_QUICK_WORTH_AIR if effects.pace == "at once" else _SLOW_WORTH_AIR)


def oxygen_share(effects: SideEffects) -> float | None:
    """Share of the saturated oxygen that may be missing at one time; None where not known.

    >>> oxygen_share(SideEffects(0.0, 0.8, 8.0, 0.8))
    0.1
    """
    if not effects.oxygen_saturated_mg_l:
        return None
    return effects.oxygen_missing_mg_l / effects.oxygen_saturated_mg_l
