"""The water of a virtual tank: what is really there, which no probe of ours ever says."""

import math
from dataclasses import dataclass, fields, replace

from afterfill.chemistry.chloramine import Amounts, simulate
from afterfill.chemistry.chloramine_scheme import Conditions
from afterfill.chemistry.mixing import mixed
from afterfill.chemistry.stoichiometry import MG_CL2_PER_MG_N

_NOTHING_MG_L = 1e-5  # less chlorine does nothing here that anything could see


@dataclass(frozen=True, slots=True)
class WaterState:
    """Chlorine and neutraliser mg/L as Cl2, ammonia mg/L as N not bound to chlorine. Dichloramine
    and trichloramine are parts of the combined chlorine."""

    free: float = 0.0
    combined: float = 0.0
    neutraliser: float = 0.0
    ammonia: float = 0.04
    temperature_c: float = 25.0
    ph: float = 7.4
    dichloramine: float = 0.0
    trichloramine: float = 0.0

    @property
    def residual(self) -> float:
        """Total residual oxidant [mg/L as Cl2]."""
        return self.free + self.combined

    @property
    def bound_nitrogen(self) -> float:
        """Nitrogen of the combined chlorine [mg/L as N]."""
        of_chlorine = self.combined - self.dichloramine / 2.0 - self.trichloramine * 2.0 / 3.0
        return of_chlorine / MG_CL2_PER_MG_N


@dataclass(frozen=True, slots=True)
class TankHabits:
    """How a tank lives. Rates per hour; invented for the demo."""

    room_c: float = 25.0
    resting_ph: float = 7.4
    ph_swing: float = 0.12
    alkalinity_mg_l_caco3: float = 90.0
    fed_mg_n_l_h: float = 0.01
    filter_per_h: float = 0.25
    free_demand_per_h: float = 6.0
    combined_demand_per_h: float = 0.35
    heater_per_h: float = 0.9


def poured(water: WaterState, source: WaterState, share: float) -> WaterState:
    """The water after `share` of the full volume was replaced by source water."""
    names = (field.name for field in fields(WaterState))
    return WaterState(**{n: mixed(getattr(water, n), getattr(source, n), share) for n in names})


def lived(water: WaterState, habits: TankHabits, day_s: float, step_s: float) -> WaterState:
    """The water `step_s` [s] later at `day_s` [s] since midnight: neutraliser acts, chlorine and
    ammonia react by the full chloramine scheme, the filter and the heater work."""
    hours = step_s / 3600.0
    water = _reacted(neutralised(water, hours), habits, step_s)
    return tended(water, habits, day_s, hours)


def neutralised(water: WaterState, hours: float) -> WaterState:
    """Neutraliser takes free chlorine at once and combined within minutes."""
    from_free = min(water.free, water.neutraliser)
    left = water.neutraliser - from_free
    from_combined = min(water.combined, left) * (1.0 - math.exp(-hours * 20.0))
    kept = 1.0 - from_combined / water.combined if water.combined > 0.0 else 1.0
    return replace(
        water,
        free=water.free - from_free,
        combined=water.combined - from_combined,
        dichloramine=kept * water.dichloramine,
        trichloramine=kept * water.trichloramine,
        neutraliser=left - from_combined,
        ammonia=water.ammonia + (1.0 - kept) * water.bound_nitrogen,
    )


def tended(water: WaterState, habits: TankHabits, day_s: float, hours: float) -> WaterState:
    """The water `hours` later: fed, filtered, warmed, and on its way to the pH of the hour."""
    target_ph = habits.resting_ph + habits.ph_swing * math.sin(2 * math.pi * (day_s / 86400 - 0.4))
    nitrified = water.ammonia * (1.0 - math.exp(-habits.filter_per_h * hours))
    warmed = (habits.room_c - water.temperature_c) * (1.0 - math.exp(-habits.heater_per_h * hours))
    return replace(
        water,
        neutraliser=water.neutraliser * math.exp(-0.4 * hours),
        ammonia=water.ammonia + habits.fed_mg_n_l_h * hours - nitrified,
        temperature_c=water.temperature_c + warmed,
        ph=water.ph + (target_ph - water.ph) * (1.0 - math.exp(-0.7 * hours)),
    )


def _reacted(water: WaterState, habits: TankHabits, step_s: float) -> WaterState:
    if water.residual < _NOTHING_MG_L:
        return water
    di, tri = water.dichloramine, water.trichloramine
    before = Amounts(water.free, water.ammonia, max(water.combined - di - tri, 0.0), di, tri)
    conditions = Conditions(
        water.ph,
        water.temperature_c,
        habits.alkalinity_mg_l_caco3,
        habits.free_demand_per_h,
        habits.combined_demand_per_h,
    )
    after = simulate(before, conditions, [step_s])[0]
    free, ammonia, mono, di, tri = (max(amount, 0.0) for amount in after)
    return replace(
        water,
        free=free,
        combined=mono + di + tri,
        dichloramine=di,
        trichloramine=tri,
        ammonia=ammonia,
    )
