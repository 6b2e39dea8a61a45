"""The water of a virtual tank: what is really there, which no probe of ours ever says."""

import math
from dataclasses import dataclass, replace

from afterfill.chemistry.stoichiometry import MG_CL2_PER_MG_N, combine


@dataclass(frozen=True, slots=True)
class WaterState:
    """Chlorine and neutraliser mg/L as Cl2, ammonia mg/L as N not bound to chlorine."""

    free: float = 0.0
    combined: float = 0.0
    neutraliser: float = 0.0
    ammonia: float = 0.04
    temperature_c: float = 25.0
    ph: float = 7.4

    @property
    def residual(self) -> float:
        """Total residual oxidant [mg/L as Cl2]."""
        return self.free + self.combined


@dataclass(frozen=True, slots=True)
class TankHabits:
    """How a tank lives. Rates per hour; invented for the demo."""

    room_c: float = 25.0
    resting_ph: float = 7.4
    ph_swing: float = 0.12
    fed_mg_n_l_h: float = 0.01
    filter_per_h: float = 0.25
    free_demand_per_h: float = 6.0
    combined_demand_per_h: float = 0.35
    heater_per_h: float = 0.9


def poured(water: WaterState, source: WaterState, share: float) -> WaterState:
    """The water after `share` of the full volume was replaced by source water."""

    def mixed(before: float, added: float) -> float:
        return before + share * (added - before)

    return WaterState(
        free=mixed(water.free, source.free),
        combined=mixed(water.combined, source.combined),
        neutraliser=mixed(water.neutraliser, source.neutraliser),
        ammonia=mixed(water.ammonia, source.ammonia),
        temperature_c=mixed(water.temperature_c, source.temperature_c),
        ph=mixed(water.ph, source.ph),
    )


def lived(water: WaterState, habits: TankHabits, day_s: float, step_s: float) -> WaterState:
    """The water `step_s` [s] later at `day_s` [s] since midnight."""
    hours = step_s / 3600.0
    water = _reacted(water, hours)
    target_ph = habits.resting_ph + habits.ph_swing * math.sin(2 * math.pi * (day_s / 86400 - 0.4))
    combined_lost = water.combined * (1.0 - math.exp(-habits.combined_demand_per_h * hours))
    nitrified = water.ammonia * (1.0 - math.exp(-habits.filter_per_h * hours))
    return replace(
        water,
        free=water.free * math.exp(-habits.free_demand_per_h * hours),
        combined=water.combined - combined_lost,
        neutraliser=water.neutraliser * math.exp(-0.4 * hours),
        ammonia=water.ammonia
        + habits.fed_mg_n_l_h * hours
        - nitrified
        + combined_lost / MG_CL2_PER_MG_N,
        temperature_c=water.temperature_c
        + (habits.room_c - water.temperature_c) * (1.0 - math.exp(-habits.heater_per_h * hours)),
        ph=water.ph + (target_ph - water.ph) * (1.0 - math.exp(-0.7 * hours)),
    )


def _reacted(water: WaterState, hours: float) -> WaterState:
    """Neutraliser takes free chlorine at once and combined within minutes; ammonia binds free."""
    from_free = min(water.free, water.neutraliser)
    left = water.neutraliser - from_free
    from_combined = min(water.combined, left) * (1.0 - math.exp(-hours * 20.0))
    bound = combine(water.free - from_free, water.ammonia)
    return replace(
        water,
        free=bound.free_mg_l,
        combined=water.combined - from_combined + bound.combined_mg_l,
        neutraliser=left - from_combined,
        ammonia=bound.ammonia_mg_l + from_combined / MG_CL2_PER_MG_N,
    )
