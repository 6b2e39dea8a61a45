"""What a virtual ORP probe shows. Its law is not the one that the inference assumes.

A saturating power law of the oxidant with two lags in a row, on a wandering background whose
noise has the size that untouched process probes show (public data, 234 days at 1 min: slow noise
of 1.15 mV over 65 min, wandering of 1.6 mV per root day, white noise of 0.25 mV).
"""

import math
from dataclasses import dataclass

import numpy as np

from afterfill.chemistry.acid_base import hocl_fraction
from afterfill.simulation.virtual_water import WaterState

_SLOW_SD_MV, _SLOW_S = 1.15, 3900.0
_WANDER_MV_PER_SQRT_DAY = 1.6
_WHITE_MV = 0.25


@dataclass
class VirtualOrpProbe:
    """`span_mv` at much oxidant, half of it near `half_mg_l`; `rise_s`, `fall_s`: film on it."""

    seed: int
    resting_mv: float = 318.0
    span_mv: float = 230.0
    half_mg_l: float = 0.35
    power: float = 0.8
    combined_weight: float = 0.3
    ph_mv: float = -21.0
    rise_s: float = 130.0
    fall_s: float = 1900.0

    def __post_init__(self) -> None:
        self._random = np.random.default_rng(self.seed)
        self._slow_mv = self._wander_mv = self._film_mv = 0.0

    def followed(self, water: WaterState, step_s: float) -> None:
        """Let the electrode follow its water for `step_s` [s]."""
        target = self._settled_mv(water)
        lag_s = self.rise_s if target > self._film_mv else self.fall_s
        self._film_mv += (target - self._film_mv) * (1.0 - math.exp(-step_s / lag_s))
        kept = math.exp(-step_s / _SLOW_S)
        self._slow_mv = (
            self._slow_mv * kept + _SLOW_SD_MV * math.sqrt(1.0 - kept * kept) * self._normal()
        )
        self._wander_mv += _WANDER_MV_PER_SQRT_DAY * math.sqrt(step_s / 86400.0) * self._normal()

    def shown_mv(self, water: WaterState, disturbed_mv: float) -> float:
        """The reading now [mV]."""
        of_ph = self.ph_mv * (water.ph - 7.4)
        noise = self._slow_mv + self._wander_mv + _WHITE_MV * self._normal()
        return self.resting_mv + of_ph + self._film_mv + disturbed_mv + noise

    def _settled_mv(self, water: WaterState) -> float:
        hocl = hocl_fraction(water.ph, water.temperature_c)
        strength = water.free * (hocl + 0.3 * (1 - hocl)) + self.combined_weight * water.combined
        share = math.pow(strength / (strength + self.half_mg_l), self.power)
        return self.span_mv * share - 18.0 * (1.0 - math.exp(-water.neutraliser / 0.4))

    def _normal(self) -> float:
        return float(self._random.standard_normal())
