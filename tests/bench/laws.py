"""Electrode laws for the bench: none of them is the filter's own.

Each maps free and combined chlorine [mg/L as Cl2] and the share of HOCl to millivolts over the
probe's background. All figures are invented within what is published about ORP probes:
logarithmic or saturating, chloramine several times weaker, minutes up and tens of minutes down.
The set `tuning` uses the first five; `held-out` uses all, so that two of its laws are new.
"""

import math
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np


class Law(Protocol):
    """One probe: follows its water step by step."""

    def stepped(self, free: float, combined: float, hocl: float, step_s: float) -> float:
        """Millivolts over the background after `step_s` [s] in this water."""


def _nearer(now: float, target: float, step_s: float, lag_s: float) -> float:
    return now + (target - now) * (1.0 - math.exp(-step_s / lag_s))


@dataclass
class SaturatingPower:
    """A saturating power law behind two lags in a row."""

    span_mv: float
    half_mg_l: float
    power: float
    weak: float
    rise_s: float
    fall_s: float
    _near: float = 0.0
    _film: float = 0.0

    def stepped(self, free: float, combined: float, hocl: float, step_s: float) -> float:
        strength = free * (hocl + 0.25 * (1 - hocl)) + self.weak * combined
        self._near = _nearer(self._near, strength, step_s, 60.0)
        target = self.span_mv * (self._near / (self._near + self.half_mg_l)) ** self.power
        lag_s = self.rise_s if target > self._film else self.fall_s
        self._film = _nearer(self._film, target, step_s, lag_s)
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
        self._quick = _nearer(self._quick, target, step_s, 90.0)
        lag_s = self.grow_s if target > self._film else self.dissolve_s
        self._film = _nearer(self._film, target, step_s, lag_s)
        return (1 - self.film_share) * self._quick + self.film_share * self._film


@dataclass
class Adsorption:
    """Two adsorption sites of different strength (a sum of Langmuir isotherms)."""

    strong_mv: float
    strong_mg_l: float
    weak_mv: float
    weak_mg_l: float
    chloramine: float
    rise_s: float
    fall_s: float
    _strong: float = 0.0
    _weak: float = 0.0

    def stepped(self, free: float, combined: float, hocl: float, step_s: float) -> float:
        dose = free * (0.35 + 0.65 * hocl) + self.chloramine * combined
        self._strong = self._covered(self._strong, dose / (dose + self.strong_mg_l), step_s)
        self._weak = self._covered(self._weak, dose / (dose + self.weak_mg_l), step_s)
        return self.strong_mv * self._strong + self.weak_mv * self._weak

    def _covered(self, now: float, target: float, step_s: float) -> float:
        return _nearer(now, target, step_s, self.rise_s if target > now else self.fall_s)


@dataclass
class RateLimited:
    """A power isotherm that a sluggish surface follows at no more than so many millivolts a
    minute, up and, much slower, down."""

    scale_mv: float  # at 1 mg/L
    power: float
    weak: float
    up_mv_min: float
    down_mv_min: float
    _mv: float = 0.0

    def stepped(self, free: float, combined: float, hocl: float, step_s: float) -> float:
        strength = free * (0.3 + 0.7 * hocl) + self.weak * combined
        gap_mv = self.scale_mv * strength**self.power - self._mv
        most_mv = (self.up_mv_min if gap_mv > 0 else self.down_mv_min) * step_s / 60.0
        self._mv += math.copysign(min(abs(gap_mv) * min(step_s / 60.0, 1.0), most_mv), gap_mv)
        return self._mv


@dataclass
class StretchedMemory:
    """A logarithm of a power, after a dead time, through three lags side by side: quick, middling
    and very slow."""

    slope_mv: float
    half_mg_l: float
    power: float
    weak: float
    dead_s: float
    rise_s: float
    slow: float  # how many times slower it comes down
    _queue: list[tuple[float, float]] = field(default_factory=list)
    _parts: tuple[float, float, float] = (0.0, 0.0, 0.0)

    def stepped(self, free: float, combined: float, hocl: float, step_s: float) -> float:
        strength = free * (0.3 + 0.7 * hocl) + self.weak * combined
        self._queue = [(age_s + step_s, s) for age_s, s in self._queue] + [(0.0, strength)]
        while len(self._queue) > 1 and self._queue[1][0] >= self.dead_s:
            self._queue.pop(0)
        arrived = self._queue[0][1] if self._queue[0][0] >= self.dead_s else 0.0
        target = self.slope_mv * math.log10(1.0 + (arrived / self.half_mg_l) ** self.power)
        quick, middling, slow = (
            _nearer(now, target, step_s, self.rise_s * times * (1 if target > now else self.slow))
            for now, times in zip(self._parts, (0.4, 1.5, 6.0), strict=True)
        )
        self._parts = (quick, middling, slow)
        return 0.45 * quick + 0.35 * middling + 0.2 * slow


@dataclass
class Passivating:
    """A surface that loses sensitivity while oxidant acts on it and wins it back within hours."""

    span_mv: float
    half_mg_l: float
    weak: float
    rise_s: float
    fall_s: float
    tire_s: float
    _mv: float = 0.0
    _fresh: float = 1.0

    def stepped(self, free: float, combined: float, hocl: float, step_s: float) -> float:
        strength = free * (0.2 + 0.8 * hocl) + self.weak * combined
        covered = strength / (strength + self.half_mg_l)
        self._fresh = _nearer(self._fresh, 1.0 - 0.6 * covered, step_s, self.tire_s)
        target = self.span_mv * self._fresh * covered
        self._mv = _nearer(
            self._mv, target, step_s, self.rise_s if target > self._mv else self.fall_s
        )
        return self._mv


@dataclass
class MixedCouple:
    """Two couples in competition for the surface; the more oxidant, the quicker it follows."""

    span_mv: float
    exchange: float
    weak: float
    lag_s: float
    _mv: float = 0.0

    def stepped(self, free: float, combined: float, hocl: float, step_s: float) -> float:
        current = math.sqrt(free * (0.15 + 0.85 * hocl) + self.weak * combined)
        target = self.span_mv * current / (current + self.exchange)
        lag_s = self.lag_s / (1.0 + 4.0 * current) * (1.0 if target > self._mv else 8.0)
        self._mv = _nearer(self._mv, target, step_s, lag_s)
        return self._mv


LAWS = (
    "saturating power",
    "oxide film",
    "adsorption",
    "rate limited",
    "stretched memory",
    "passivating",
    "mixed couple",
)
TUNING_LAWS = 5


def drawn_law(name: str, random: np.random.Generator) -> Law:
    """A probe of this kind, as different from its fellows as real ones are."""

    def between(low: float, high: float) -> float:
        return float(random.uniform(low, high))

    weak, rise_s, fall_s = between(0.12, 0.4), between(60, 300), math.exp(between(6.2, 8.8))
    if name == "saturating power":
        span_mv, half_mg_l = between(150, 300), between(0.1, 0.6)
        return SaturatingPower(span_mv, half_mg_l, between(0.55, 0.9), weak, rise_s, fall_s)
    if name == "oxide film":
        slope_mv, background = between(28, 55), between(0.04, 0.12)
        share = between(0.2, 0.7)
        return OxideFilm(slope_mv, background, weak, share, 3 * rise_s, fall_s)
    if name == "adsorption":
        strong, other = (
            (between(30, 80), between(0.01, 0.05)),
            (between(60, 180), between(0.2, 0.8)),
        )
        return Adsorption(*strong, *other, weak, rise_s, fall_s)
    if name == "rate limited":
        return RateLimited(
            between(110, 230), between(0.3, 0.5), weak, between(6, 25), between(0.5, 3)
        )
    if name == "stretched memory":
        shape = (between(55, 110), between(0.01, 0.06), between(0.7, 1.0))
        return StretchedMemory(*shape, weak, between(20, 120), rise_s, between(4, 12))
    if name == "passivating":
        return Passivating(
            between(120, 260), between(0.08, 0.35), weak, rise_s, fall_s, between(3600, 14400)
        )
    return MixedCouple(between(180, 320), between(0.4, 1.0), weak, 3 * rise_s)
