"""A virtual tank with its probes: moved to a time, poured into, and measured."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from afterfill.records import Quantity
from afterfill.simulation.virtual_probe import VirtualOrpProbe
from afterfill.simulation.virtual_water import TankHabits, WaterState, lived, poured

_STEP_S = 30.0


@dataclass(frozen=True, slots=True)
class Inflow:
    """Source water of `share` of the volume, between two times [s]."""

    begin_s: float
    end_s: float
    share: float
    source: WaterState

    def within(self, from_s: float, to_s: float) -> float:
        """The share that comes in during an interval."""
        overlap_s = min(self.end_s, to_s) - max(self.begin_s, from_s)
        return self.share * max(overlap_s, 0.0) / (self.end_s - self.begin_s)


@dataclass(frozen=True, slots=True)
class Disturbance:
    """Feeding, hands or light: moves the ORP by `mv` and fades, without any oxidant."""

    begin_s: float
    mv: float
    fade_s: float = 2400.0

    def at(self, time_s: float) -> float:
        """How much of it is left [mV]."""
        since_s = time_s - self.begin_s
        if since_s <= 0.0:
            return 0.0
        return self.mv * (1.0 - math.exp(-since_s / 240.0)) * math.exp(-since_s / self.fade_s)


class VirtualTank:
    """Times are seconds since the tank's first midnight."""

    def __init__(self, habits: TankHabits, probe: VirtualOrpProbe) -> None:
        self.water = WaterState(temperature_c=habits.room_c, ph=habits.resting_ph)
        self.time_s = 0.0
        self.inflows: list[Inflow] = []
        self.disturbances: list[Disturbance] = []
        self._habits = habits
        self._probe = probe

    def moved_to(self, time_s: float) -> None:
        """Let the tank live until `time_s` [s]."""
        while self.time_s < time_s:
            step_s = min(_STEP_S, time_s - self.time_s)
            until_s = self.time_s + step_s
            for inflow in self.inflows:
                share = inflow.within(self.time_s, until_s)
                if share > 0.0:
                    self.water = poured(self.water, inflow.source, share)
            self.water = lived(self.water, self._habits, self.time_s % 86400.0, step_s)
            self._probe.followed(self.water, step_s)
            self.time_s = until_s

    def dosed(self, neutraliser_mg_l: float) -> None:
        """Put neutraliser [mg/L as Cl2] into the tank itself."""
        more = self.water.neutraliser + neutraliser_mg_l
        self.water = replace(self.water, neutraliser=more)

    def measured(self) -> Mapping[Quantity, float]:
        """What the probes show now."""
        disturbed_mv = sum(d.at(self.time_s) for d in self.disturbances)
        return {
            "orp": self._probe.shown_mv(self.water, disturbed_mv),
            "ph": self.water.ph,
            "temperature": self.water.temperature_c,
        }
