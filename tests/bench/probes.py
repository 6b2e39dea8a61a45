"""The probes of a bench tank: what they show of the water, and what goes wrong with them."""

import math

import numpy as np

from afterfill.chemistry.acid_base import hocl_fraction
from afterfill.ports import POSSIBLE
from afterfill.records import QUANTITIES, Input, Quantity, Reading, Tick
from afterfill.simulation.virtual_water import WaterState
from bench.laws import drawn_law
from bench.story import ZERO_S, Fault, FaultKind, Story

Shown = dict[Quantity, float]
_SPIKE_MV = 120.0
_TICK_S = 30.0
_DRIFTS_S = 6 * 3600.0  # then it stays where it got to


class OrpProbe:
    """Noise of the size that untouched process probes show (public data, 234 days at 1 min)."""

    def __init__(self, story: Story, random: np.random.Generator) -> None:
        self._random = random
        self._law = drawn_law(story.law, random)
        self._ph_mv = float(random.uniform(-45, -8))
        self._resting_mv = float(random.uniform(220, 380))
        self._resolution_mv = float(random.choice([0.1, 0.1, 1.0]))
        self._white_mv = float(random.uniform(0.15, 0.6))
        lost = story.home.response_lost if story.home else 0.0
        self._kept, self._ages_per_s = 1.0, lost / (story.hours * 3600.0)
        self._slow_mv = self._wander_mv = self._signal_mv = self._wet_mv = self._air_mv = 0.0
        self._other_mv = self._resting_mv + float(random.choice([-1, 1]) * random.uniform(30, 150))

    def stepped(self, water: WaterState, faults: list[Fault], step_s: float) -> None:
        """Follow the water, and hands."""
        hocl = hocl_fraction(water.ph, min(water.temperature_c, 35.0))
        self._kept -= self._ages_per_s * step_s
        self._signal_mv = self._kept * self._law.stepped(water.free, water.combined, hocl, step_s)
        kept = math.exp(-step_s / 3900.0)
        self._slow_mv = kept * self._slow_mv + 1.15 * math.sqrt(1 - kept * kept) * self._normal()
        self._wander_mv += 1.6 * math.sqrt(step_s / 86400.0) * self._normal()
        self._wet_mv *= math.exp(-step_s / 1500.0)
        if any(f.kind == "handled" for f in faults):
            self._wet_mv = -float(self._random.uniform(120, 300))
        if any(f.kind == "air" for f in faults):
            self._air_mv += 4.0 * math.sqrt(step_s / 15.0) * self._normal()
            self._wet_mv = -0.4 * abs(self._air_mv) - 20.0
        else:
            self._air_mv = 0.0

    def shown_mv(self, water: WaterState, faults: list[Fault], extra_mv: float) -> float:
        """What the meter says."""
        dip = -25.0 * (1 - math.exp(-water.neutraliser / 0.6))
        mv = self._resting_mv + self._ph_mv * (water.ph - 7.4) + self._signal_mv + dip
        for fault in faults:
            if fault.kind == "air":
                mv = self._resting_mv + fault.size + self._air_mv
            if fault.kind == "other tank":
                mv = self._other_mv
        mv += self._wet_mv + extra_mv + self._slow_mv + self._wander_mv
        mv += self._white_mv * self._normal()
        return round(round(mv / self._resolution_mv) * self._resolution_mv, 1)

    def _normal(self) -> float:
        return float(self._random.standard_normal())


class NearWater:
    """The water at the probes, which follows that of the tank with the time of mixing [s]."""

    def __init__(self, water: WaterState, mixing_s: float) -> None:
        self.water = water
        self._mixing_s = mixing_s

    def followed(self, water: WaterState, step_s: float) -> WaterState:
        """The water at the probes `step_s` [s] later."""
        share, near = 1.0 - math.exp(-step_s / self._mixing_s), self.water
        self.water = WaterState(
            free=near.free + share * (water.free - near.free),
            combined=near.combined + share * (water.combined - near.combined),
            neutraliser=near.neutraliser + share * (water.neutraliser - near.neutraliser),
            ammonia=water.ammonia,
            temperature_c=near.temperature_c + share * (water.temperature_c - near.temperature_c),
            ph=near.ph + share * (water.ph - near.ph),
        )
        return self.water


class Line:
    """What reaches the service of what the probes show."""

    def __init__(self, story: Story, random: np.random.Generator) -> None:
        self._every_s = story.every_s
        self._quantities = story.home.probes if story.home else QUANTITIES
        self._random = random
        self._held: Shown | None = None

    def extra_mv(self, faults: list[Fault], time_s: float) -> float:
        """Millivolts that spikes, drift, light and pump add."""
        sum_mv = 0.0
        for fault in faults:
            if fault.kind == "drift":
                sum_mv += fault.size * min(time_s - fault.begin_s, _DRIFTS_S) / 86400.0
            elif fault.kind == "orp step":
                sum_mv += fault.size
            elif fault.kind == "spikes":
                often = fault.size * self._every_s / 86400.0
                sum_mv += _SPIKE_MV if self._random.random() < often else 0.0
        return sum_mv

    def shown(self, orp_mv: float, water: WaterState, faults: list[Fault]) -> Shown:
        """The three columns as they leave the meter."""
        kinds = {fault.kind for fault in faults}
        steps = _sizes(faults)
        now: Shown = {
            "temperature": water.temperature_c + steps.get("temperature step", 0.0),
            "ph": water.ph + steps.get("ph step", 0.0),
            "orp": orp_mv,
        }
        now["temperature"] = round(now["temperature"] + 0.02 * self._normal(), 2)
        now["ph"] = round(now["ph"] + 0.006 * self._normal(), 2)
        if "swapped" in kinds:
            now["ph"], now["temperature"] = now["temperature"], now["ph"]
        if not kinds & {"stuck", "frozen"}:
            self._held = None
            return now
        self._held = now if self._held is None else self._held
        return self._held if "frozen" in kinds else {**now, "orp": self._held["orp"]}

    def inputs(self, shown: Shown, faults: list[Fault], time_s: float) -> list[Input]:
        """The records of one moment."""
        kinds = {fault.kind for fault in faults}
        at_s = ZERO_S + time_s
        if "all outage" in kinds:
            return [Tick(at_s, "t")] if time_s % _TICK_S < self._every_s else []
        return [_reading(at_s, q, shown[q], "orp outage" in kinds) for q in self._quantities]

    def _normal(self) -> float:
        return float(self._random.standard_normal())


def _sizes(faults: list[Fault]) -> dict[FaultKind, float]:
    return {fault.kind: fault.size for fault in faults}


def _reading(at_s: float, quantity: Quantity, value: float, outage: bool) -> Reading:
    """Numbers that no such probe can mean are refused by any driver."""
    if outage and quantity == "orp":
        return Reading(at_s, "t", quantity, None, invalid="no-answer")
    low, high = POSSIBLE[quantity]
    if low <= value <= high:
        return Reading(at_s, "t", quantity, value)
    return Reading(at_s, "t", quantity, None, invalid="out-of-range")
