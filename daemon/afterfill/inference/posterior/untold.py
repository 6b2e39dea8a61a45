"""Water that may have come in untold of, and too little of it for the ORP to show.

What evaporates is made up for somehow: by a float, a jug, a hand. Where nothing is told of it, raw
water in small parts stays possible, the more so the longer it is since the tank was full for sure.
"""

import math
from functools import lru_cache

import numpy as np

from afterfill.inference.belief import Belief
from afterfill.inference.filter.streams import Array, log_normal, uniform
from afterfill.inference.model import priors
from afterfill.inference.model.parameters import tap_chlorine
from afterfill.inference.setup import Setup, Water

_N = 256
_LONGEST_DAYS = 14  # most of what came earlier has decayed
_AT_ONCE_H = 2.0  # hours are told apart by this much: a cache's grain


def p_over_untold(setup: Setup, belief: Belief, time_s: float, floor_mg_l: float) -> float:
    """Probability that untold water keeps the residual over the tank's limit at `time_s` [s],
    unseen. `floor_mg_l`: what the ORP would have shown of one pour [mg/L as Cl2]."""
    there, residual = _untold(setup, belief, time_s, floor_mg_l)
    return there * float(np.mean(residual > setup.limit_mg_l)) if there > 0.0 else 0.0


def untold_mg_l(setup: Setup, belief: Belief, time_s: float, floor_mg_l: float) -> float:
    """The residual [mg/L as Cl2] that untold water exceeds with a probability of 0.05; 0 when no
    such water is likelier than that."""
    there, residual = _untold(setup, belief, time_s, floor_mg_l)
    return float(np.quantile(residual, 1.0 - 0.05 / there)) if there > 0.05 else 0.0


def _untold(setup: Setup, belief: Belief, time_s: float, floor_mg_l: float) -> tuple[float, Array]:
    """How likely it is that raw water came so, and what of it would be there now, shape (n,)."""
    if setup.untold <= 0.0 or belief.full_s is None:
        return 0.0, np.zeros(1)
    since_h = max(time_s - belief.full_s, 0.0) / 3600.0
    there = setup.untold * (1.0 - math.exp(-since_h / 24.0))
    grain_h = _AT_ONCE_H * round(since_h / _AT_ONCE_H)
    water = belief.water_of(setup.water, time_s)
    return there, _residual(water, min(grain_h, 24.0 * _LONGEST_DAYS), float(f"{floor_mg_l:.1g}"))


@lru_cache(maxsize=256)
def _residual(water: Water, since_h: float, floor_mg_l: float) -> Array:
    """Draws of the residual [mg/L as Cl2] where raw water was topped up once a day, the last time
    within a day, for `since_h` [h]. What the ORP would have shown is left out."""
    share = log_normal(_N, "untold share", priors.EVAPORATED, priors.EVAPORATED_SIGMA)
    free, combined = tap_chlorine(water, _N)
    poured = share * (free + combined)  # a tank's ammonia binds the free part within a minute
    decay = log_normal(_N, "combined decay", priors.K_COMBINED_PER_H, priors.K_COMBINED_SIGMA)
    age_h = min(since_h, 24.0) * uniform(_N, "untold age")
    days = np.floor(np.maximum(since_h - age_h, 0.0) / 24.0) + 1.0
    left_a_day = np.exp(-24.0 * decay)
    kept = (1.0 - left_a_day**days) / (1.0 - left_a_day)
    unseen = poured < floor_mg_l
    residual = np.where(unseen, poured * np.exp(-decay * age_h) * kept, 0.0)
    residual.setflags(write=False)
    return np.asarray(residual)
