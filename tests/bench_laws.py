"""Electrode laws for the bench: none of them is the filter's own.

Each maps free and combined chlorine [mg/L as Cl2], pH, temperature and time to millivolts over
the probe's background. All figures are invented within what is published about ORP probes:
logarithmic or saturating, chloramine several times weaker, minutes up and tens of minutes down.
"""

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np


class Law(Protocol):
    """One probe: follows its water step by step."""

    def stepped(self, free: float, combined: float, hocl: float, step_s: float) -> float:
        """Millivolts over the background after `step_s` [s] in this water."""


@dataclass
class SaturatingPower:
    """A saturating power law behind two lags in a row."""

    span_mv: float
    half_mg_l: float
    power: float
    weak: float
    rise_s: float
    fall_s: float
    mixing_s: float = 60.0
    _near: float = 0.0
    _film: float = 0.0

    def stepped(self, free: float, combined: float, hocl: float, step_s: float) -> float:
        strength = free * (hocl + 0.25 * (1 - hocl)) + self.weak * combined
        self._near += (strength - self._near) * (1 - math.exp(-step_s / self.mixing_s))
        target = self.span_mv * (self._near / (self._near + self.half_mg_l)) ** self.power
        lag_s = self.rise_s if target > self._film else self.fall_s
        self._film += (target - self._film) * (1 - math.exp(-step_s / lag_s))
        return self._film


@dataclass
class OxideFilm:
    """A mixed potential over an oxide film that grows with oxidant and dissolves slowly: part of
    the step is quick, part of it is the film."""

    slope_mv: float
    background: float
    weak: float
    film_share: float
    grow_s: float
    dissolve_s: float
    _quick: float = 0.0
    _film: float = 0.0

    def stepped(self, free: float, combined: float, hocl: float, step_s: float) -> float:
        strength = math.sqrt(free * hocl * 0.4) + math.sqrt(self.weak * combined * 0.2)
        target = self.slope_mv * math.asinh(strength / self.background)
        self._quick += (target - self._quick) * (1 - math.exp(-step_s / 90.0))
        lag_s = self.grow_s if target > self._film else self.dissolve_s
        self._film += (target - self._film) * (1 - math.exp(-step_s / lag_s))
        return (1 - self.film_share) * self._quick + self.film_share * self._film


@dataclass
class Adsorption:
    """Two adsorption sites of different strength (a sum of Langmuir isotherms), with a delay."""

    strong_mv: float
    strong_mg_l: float
    weak_mv: float
    weak_mg_l: float
    chloramine: float
    rise_s: float
    fall_s: float
    _covered: tuple[float, float] = (0.0, 0.0)

    def stepped(self, free: float, combined: float, hocl: float, step_s: float) -> float:
        dose = free * (0.35 + 0.65 * hocl) + self.chloramine * combined
        targets = (dose / (dose + self.strong_mg_l), dose / (dose + self.weak_mg_l))
        now = []
        for covered, target in zip(self._covered, targets, strict=True):
            lag_s = self.rise_s if target > covered else self.fall_s
            now.append(covered + (target - covered) * (1 - math.exp(-step_s / lag_s)))
        self._covered = (now[0], now[1])
        return self.strong_mv * now[0] + self.weak_mv * now[1]


LAWS = ("saturating power", "oxide film", "adsorption")


def drawn_law(name: str, random: np.random.Generator) -> Law:
    """A probe of this kind, as different from its fellows as real ones are."""
    weak = float(random.uniform(0.12, 0.4))
    rise_s, fall_s = float(random.uniform(60, 300)), float(np.exp(random.uniform(6.2, 8.8)))
    if name == "saturating power":
        span, half = float(random.uniform(150, 300)), float(random.uniform(0.1, 0.6))
        return SaturatingPower(span, half, float(random.uniform(0.55, 0.9)), weak, rise_s, fall_s)
    if name == "oxide film":
        slope, back = float(random.uniform(28, 55)), float(random.uniform(0.04, 0.12))
        share = float(random.uniform(0.2, 0.7))
        return OxideFilm(slope, back, weak, share, 3 * rise_s, fall_s)
    strong = (float(random.uniform(30, 80)), float(random.uniform(0.01, 0.05)))
    other = (float(random.uniform(60, 180)), float(random.uniform(0.2, 0.8)))
    return Adsorption(*strong, *other, weak, rise_s, fall_s)
