"""A story played: the water lives, the probes look at it, and records come out."""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from afterfill.records import Input, KitResult, known_since_s
from afterfill.simulation.virtual_water import WaterState, poured
from bench.bench_water import Living, Organics, at_rest, drawn_habits, free_ammonia, kit_ammonia
from bench.probes import Line, NearWater, OrpProbe
from bench.story import ZERO_S, Fault, Kit, Story

Series = NDArray[np.float64]


@dataclass
class Played:
    """What the probes gave, and what was really there at each reading. The ORP is what a detector
    without a judgement of its own sees: the last number that came."""

    inputs: list[Input]
    time_s: Series
    residual: Series
    free: Series
    nh3: Series
    orp_mv: Series


class _Tank:
    def __init__(self, story: Story) -> None:
        random = np.random.default_rng(story.seed)
        habits, organics = drawn_habits(random)
        home = story.home
        if home is not None:
            habits, organics = home.habits, Organics(home.pool_mg_l, home.quick_per_mg_h)
        self._warm_k = 0.0 if home is None else home.warm_k
        self._living = Living(story.water, habits, organics)
        self.water = at_rest(habits)
        self.near = NearWater(self.water, story.mixing_s)
        self.probe, self.line = OrpProbe(story, random), Line(story, random)
        self.random = random
        self._day0_s = float(random.uniform(0, 86400))
        self._pourings = list(story.pourings)
        self._doses = sorted(story.doses)

    def _warmed_k(self, day_s: float) -> float:
        """How far the room is over its mean: warmest at five in the afternoon."""
        return 0.5 * self._warm_k * math.sin(2.0 * math.pi * (day_s / 86400.0 - 11.0 / 24.0))

    def moved(self, time_s: float, step_s: float, faults: list[Fault]) -> None:
        """Live from `time_s` for `step_s` [s]."""
        until_s = time_s + step_s
        for pouring in self._pourings:
            share = pouring.mixed_in(time_s, until_s)
            self.water = poured(self.water, pouring.source, share) if share > 0 else self.water
        while self._doses and self._doses[0][0] < until_s:
            more = self.water.neutraliser + self._doses.pop(0)[1]
            self.water = replace(self.water, neutraliser=more)
        day_s = (self._day0_s + time_s) % 86400.0
        self.water = self._living.moved_on(self.water, day_s, step_s, self._warmed_k(day_s))
        self.probe.stepped(self.near.followed(self.water, step_s), faults, step_s)


def played(story: Story) -> Played:
    """Let the tank live through its story."""
    tank, step_s = _Tank(story), 15.0 if story.every_s % 15.0 == 0.0 else 10.0
    inputs: list[Input] = list(story.said)
    rows: list[tuple[float, ...]] = []
    time_s, next_s, kits, last_mv = 0.0, 0.0, sorted(story.kits, key=lambda k: k.at_s), np.nan
    while time_s < story.hours * 3600.0:
        faults = [fault for fault in story.faults if fault.at(time_s)]
        if time_s >= next_s:
            records, orp_mv = _moment(story, tank, faults, time_s)
            inputs += records
            last_mv = last_mv if orp_mv is None else orp_mv
            water = tank.water
            rows.append((time_s, water.residual, water.free, free_ammonia(water), last_mv))
            next_s += story.every_s
        while kits and kits[0].at_s <= time_s:
            inputs.append(_kit_result(kits.pop(0), tank.water, tank.random))
        tank.moved(time_s, step_s, faults)
        time_s += step_s
    return Played(sorted(inputs, key=known_since_s), *np.array(rows).T)


def _moment(
    story: Story, tank: _Tank, faults: list[Fault], time_s: float
) -> tuple[list[Input], float | None]:
    extra_mv = sum(d.at(time_s) for d in story.disturbances) + tank.line.extra_mv(faults, time_s)
    orp_mv = tank.probe.shown_mv(tank.near.water, faults, extra_mv)
    shown = tank.line.shown(orp_mv, tank.near.water, faults)
    away = any(f.kind in ("orp outage", "all outage") for f in faults)
    return tank.line.inputs(shown, faults, time_s), None if away else shown["orp"]


def _kit_result(kit: Kit, water: WaterState, random: np.random.Generator) -> KitResult:
    """A hobby kit: a fifth off, in steps of 0.05 (chlorine) and 0.1 mg/L (ammonia)."""
    chlorine = ammonia = None
    if kit.chlorine:
        off = 0.2 * water.residual * random.standard_normal() + 0.02 * random.standard_normal()
        read = 0.0 if kit.wrong_zero else max(water.residual + float(off) + kit.wrong_mg_l, 0.0)
        chlorine = round(round(read / 0.05) * 0.05, 2)
    if kit.ammonia:
        truth = kit_ammonia(water)
        read = max(truth * (1.0 + 0.2 * float(random.standard_normal())), 0.0)
        ammonia = round(read, 1)
    return KitResult(
        ZERO_S + kit.at_s, "t", total_ammonia_mg_l=ammonia, total_chlorine_mg_l=chlorine
    )
