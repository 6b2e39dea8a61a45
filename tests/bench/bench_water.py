"""How the water of a bench tank lives: unlike the filter's, its demand tires as it is met.

Two laws of chlorine and ammonia: they combine mole for mole at once, and each is eaten at first
order; or the full chloramine scheme, as in the demo's tank.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from afterfill.chemistry.acid_base import nh3_fraction
from afterfill.chemistry.stoichiometry import MG_CL2_PER_MG_N
from afterfill.simulation.virtual_water import TankHabits, WaterState, lived, tended
from bench.story import WaterLaw


@dataclass
class Organics:
    """What eats free chlorine: a quick pool [mg/L as Cl2] that is used up and grows again."""

    pool_mg_l: float
    quick_per_mg_h: float
    grown_per_h: float = 0.1
    _left: float = -1.0

    def eaten(self, free: float, hours: float) -> float:
        """Free chlorine after `hours`, second order in chlorine and pool."""
        if self._left < 0.0:
            self._left = self.pool_mg_l
        gone = free * (1.0 - math.exp(-self.quick_per_mg_h * self._left * hours))
        gone = min(gone, self._left)
        grown = (self.pool_mg_l - self._left) * self.grown_per_h * hours
        self._left += grown - gone
        return free - gone


def drawn_habits(random: np.random.Generator) -> tuple[TankHabits, Organics]:
    """A tank as different from its fellows as real ones are."""
    habits = TankHabits(
        room_c=float(random.uniform(22, 27)),
        resting_ph=float(random.uniform(6.7, 8.1)),
        ph_swing=float(random.uniform(0.02, 0.2)),
        fed_mg_n_l_h=float(np.exp(random.uniform(-6.0, -3.9))),
        filter_per_h=float(random.uniform(0.1, 0.6)),
        free_demand_per_h=float(np.exp(random.uniform(-0.7, 2.5))),
        combined_demand_per_h=float(np.exp(random.uniform(-2.3, 0.7))),
        heater_per_h=float(random.uniform(0.3, 1.5)),
    )
    pool_mg_l = float(np.exp(random.uniform(-3.0, -1.0)))
    return habits, Organics(pool_mg_l, float(random.uniform(5, 60)))


def at_rest(habits: TankHabits) -> WaterState:
    """The tank's water when nothing has been poured for long."""
    return WaterState(
        ammonia=habits.fed_mg_n_l_h / habits.filter_per_h,
        temperature_c=habits.room_c,
        ph=habits.resting_ph,
    )


@dataclass
class Living:
    """What moves the water of one tank on."""

    law: WaterLaw
    habits: TankHabits
    organics: Organics

    def moved_on(
        self, water: WaterState, day_s: float, step_s: float, warmed_k: float = 0.0
    ) -> WaterState:
        """The water `step_s` [s] later at `day_s` [s] since midnight, in a room `warmed_k` over its
        mean."""
        live = lived if self.law == "scheme" else _lived_mole_for_mole
        habits = self.habits
        if warmed_k:
            habits = replace(habits, room_c=habits.room_c + warmed_k)
        water = live(water, habits, day_s, step_s)
        if water.free <= 0.0:
            return water
        return replace(water, free=self.organics.eaten(water.free, step_s / 3600.0))


def _lived_mole_for_mole(
    water: WaterState, habits: TankHabits, day_s: float, step_s: float
) -> WaterState:
    hours = step_s / 3600.0
    water = _reacted(water, hours)
    lost = water.combined * (1.0 - math.exp(-habits.combined_demand_per_h * hours))
    later = tended(water, habits, day_s, hours)
    return replace(
        later,
        free=water.free * math.exp(-habits.free_demand_per_h * hours),
        combined=water.combined - lost,
        ammonia=later.ammonia + lost / MG_CL2_PER_MG_N,
    )


def _reacted(water: WaterState, hours: float) -> WaterState:
    """Neutraliser takes free chlorine at once and combined within minutes; ammonia binds free."""
    from_free = min(water.free, water.neutraliser)
    left = water.neutraliser - from_free
    from_combined = min(water.combined, left) * (1.0 - math.exp(-hours * 20.0))
    bound = min(water.free - from_free, water.ammonia * MG_CL2_PER_MG_N)
    unbound = max(0.0, water.ammonia - bound / MG_CL2_PER_MG_N)
    return replace(
        water,
        free=water.free - from_free - bound,
        combined=water.combined - from_combined + bound,
        neutraliser=left - from_combined,
        ammonia=unbound + from_combined / MG_CL2_PER_MG_N,
    )


def free_ammonia(water: WaterState) -> float:
    """Un-ionised ammonia [mg/L as N]."""
    return water.ammonia * nh3_fraction(water.ph, water.temperature_c)


def kit_ammonia(water: WaterState) -> float:
    """What an ammonia kit reacts with [mg/L as N]: also what chlorine holds."""
    return water.ammonia + water.bound_nitrogen
