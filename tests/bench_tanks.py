"""Tanks for the bench: their water, their probe's noise, and what happens to them."""

import math
from dataclasses import dataclass, field, replace

import numpy as np

from afterfill.chemistry.acid_base import hocl_fraction
from afterfill.config import Config
from afterfill.records import QUANTITIES, Event, Input, Quantity, Reading, known_since_s
from afterfill.simulation.virtual_tank import Disturbance, Inflow
from afterfill.simulation.virtual_water import TankHabits, WaterState, lived, poured
from bench_laws import LAWS, drawn_law

ZERO_S = 1_800_000_000.0
STEP_S = 15.0
MG_CL2_PER_ML = 40.0


@dataclass
class Story:
    """What is to happen to one tank, and what its keeper says about it."""

    seed: int
    hours: float
    every_s: float
    litres: float
    disinfectant: str
    tap_mg_l: float
    inflows: list[Inflow] = field(default_factory=list)
    doses: list[tuple[float, float]] = field(default_factory=list)  # time [s], mg/L as Cl2
    disturbances: list[Disturbance] = field(default_factory=list)
    said: list[Event] = field(default_factory=list)
    handled: list[tuple[float, float]] = field(default_factory=list)  # out of the water, from-to
    stuck: list[tuple[float, float]] = field(default_factory=list)
    spikes_per_day: float = 0.0
    drift_mv_per_day: float = 0.0
    law: str = ""


@dataclass
class Played:
    """What the probes gave, and what was really there at each reading."""

    inputs: list[Input]
    time_s: np.ndarray
    residual: np.ndarray
    nh3: np.ndarray
    orp_mv: np.ndarray


def config_of(story: Story) -> Config:
    """What the keeper of such a tank would have written."""
    return Config.model_validate(
        {
            "tank": {"t": {"litres": story.litres, "livestock": "warmwater"}},
            "source": {
                "tap": {
                    "disinfectant": story.disinfectant,
                    "residual_mg_l": round(story.tap_mg_l, 1),
                    "residual_max_mg_l": round(1.5 * story.tap_mg_l + 0.1, 1),
                }
            },
            "neutraliser": {"n": {"agent": "thiosulfate", "mg_cl2_per_ml": MG_CL2_PER_ML}},
            "probe": [
                {"tank": "t", "quantity": q, "driver": "line", "port": "/x",
                 "every_s": story.every_s}
                for q in QUANTITIES
            ],
        }
    )  # fmt: skip


class _Probe:
    """Noise of the size that untouched process probes show (public data, 234 days at 1 min)."""

    def __init__(self, story: Story, random: np.random.Generator) -> None:
        self._random = random
        self._law = drawn_law(story.law or LAWS[story.seed % len(LAWS)], random)
        self._ph_mv = float(random.uniform(-45, -8))
        self._resting_mv = float(random.uniform(220, 380))
        self._resolution_mv = float(random.choice([0.1, 0.1, 1.0]))
        self._white_mv = float(random.uniform(0.15, 0.6))
        self._slow_mv = self._wander_mv = self._signal_mv = self._wet_mv = 0.0

    def stepped(self, water: WaterState, step_s: float) -> None:
        hocl = hocl_fraction(water.ph, min(water.temperature_c, 35.0))
        self._signal_mv = self._law.stepped(water.free, water.combined, hocl, step_s)
        kept = math.exp(-step_s / 3900.0)
        self._slow_mv = kept * self._slow_mv + 1.15 * math.sqrt(1 - kept * kept) * self._normal()
        self._wander_mv += 1.6 * math.sqrt(step_s / 86400.0) * self._normal()
        self._wet_mv *= math.exp(-step_s / 1500.0)

    def handled(self) -> None:
        self._wet_mv = -float(self._random.uniform(120, 300))

    def shown(self, water: WaterState, extra_mv: float) -> float:
        dip = -25.0 * (1 - math.exp(-water.neutraliser / 0.6))
        of_ph = self._ph_mv * (water.ph - 7.4)
        mv = self._resting_mv + of_ph + self._signal_mv + dip + self._wet_mv + extra_mv
        mv += self._slow_mv + self._wander_mv + self._white_mv * self._normal()
        return round(mv / self._resolution_mv) * self._resolution_mv

    def _normal(self) -> float:
        return float(self._random.standard_normal())


def played(story: Story) -> Played:
    """Let the tank live through its story."""
    random = np.random.default_rng(story.seed)
    habits = TankHabits(
        room_c=float(random.uniform(22, 27)),
        resting_ph=float(random.uniform(6.7, 8.1)),
        ph_swing=float(random.uniform(0.02, 0.2)),
        fed_mg_n_l_h=float(random.uniform(0.002, 0.02)),
        filter_per_h=float(random.uniform(0.08, 0.4)),
        free_demand_per_h=float(np.exp(random.uniform(0, 3))),
        combined_demand_per_h=float(np.exp(random.uniform(-2.3, 0.7))),
        heater_per_h=float(random.uniform(0.3, 1.5)),
    )
    water = WaterState(
        ammonia=habits.fed_mg_n_l_h / habits.filter_per_h,
        temperature_c=habits.room_c,
        ph=habits.resting_ph,
    )
    probe = _Probe(story, random)
    return _recorded(story, habits, water, probe, random)


def _recorded(
    story: Story,
    habits: TankHabits,
    water: WaterState,
    probe: _Probe,
    random: np.random.Generator,
) -> Played:
    readings: list[Input] = []
    rows: list[tuple[float, float, float, float]] = []
    day0_s, time_s, next_s, frozen_mv = float(random.uniform(0, 86400)), 0.0, 0.0, None
    doses = sorted(story.doses)
    while time_s < story.hours * 3600.0:
        if time_s >= next_s:
            mv = probe.shown(water, _extra(story, time_s, random))
            frozen_mv = (
                (frozen_mv if frozen_mv is not None else mv) if _in(story.stuck, time_s) else None
            )
            shown = mv if frozen_mv is None else frozen_mv
            readings += _moment(time_s, shown, water, random)
            rows.append((time_s, water.residual, _nh3(water), shown))
            next_s += story.every_s
        until_s = time_s + STEP_S
        for inflow in story.inflows:
            share = inflow.within(time_s, until_s)
            water = poured(water, inflow.source, share) if share > 0 else water
        while doses and doses[0][0] < until_s:
            water = replace(water, neutraliser=water.neutraliser + doses.pop(0)[1])
        water = lived(water, habits, (day0_s + time_s) % 86400.0, STEP_S)
        probe.stepped(water, STEP_S)
        if _in(story.handled, time_s):
            probe.handled()
        time_s = until_s
    table = np.array(rows)
    inputs = sorted([*story.said, *readings], key=known_since_s)
    return Played(inputs, table[:, 0], table[:, 1], table[:, 2], table[:, 3])


def _extra(story: Story, time_s: float, random: np.random.Generator) -> float:
    spike = random.random() < story.spikes_per_day * story.every_s / 86400.0
    drift = story.drift_mv_per_day * time_s / 86400.0
    return sum(d.at(time_s) for d in story.disturbances) + drift + (120.0 if spike else 0.0)


def _in(spans: list[tuple[float, float]], time_s: float) -> bool:
    return any(begin <= time_s < end for begin, end in spans)


def _nh3(water: WaterState) -> float:
    from afterfill.chemistry.acid_base import nh3_fraction

    return water.ammonia * nh3_fraction(water.ph, water.temperature_c)


def _moment(
    time_s: float, orp_mv: float, water: WaterState, random: np.random.Generator
) -> list[Input]:
    values: dict[Quantity, float] = {
        "temperature": round(water.temperature_c + 0.02 * float(random.standard_normal()), 2),
        "ph": round(water.ph + 0.006 * float(random.standard_normal()), 2),
        "orp": round(orp_mv, 1),
    }
    return [Reading(ZERO_S + time_s, "t", quantity, values[quantity]) for quantity in QUANTITIES]
