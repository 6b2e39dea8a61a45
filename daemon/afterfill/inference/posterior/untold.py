"""Water that may have come in untold of, and too little of it for the ORP to show.

What evaporates is made up for somehow: by a float, a jug, a hand. Where nothing is told of it, raw
water in small parts stays possible, the more so the longer it is since the tank was full for sure.
"""

import math
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from afterfill.inference.belief import Belief
from afterfill.inference.filter.streams import Array, log_normal, uniform
from afterfill.inference.model import priors
from afterfill.inference.model.parameters import tap_chlorine
from afterfill.inference.setup import Setup, Water

_N = 256
_LONGEST_DAYS = 14  # most of what came earlier has decayed
_GRAIN_H = 2.0  # hours are told apart by this much, so that what was worked out can be kept
_UPPER = 0.05


class Untold(NamedTuple):
    """`p_over`: probability that untold water keeps the residual over the tank's limit, unseen;
    `q95_mg_l`: what it exceeds with a probability of 0.05 [mg/L as Cl2], 0 where no such water is
    likelier than that."""

    p_over: float = 0.0
    q95_mg_l: float = 0.0


def untold(setup: Setup, belief: Belief, time_s: float, floor_mg_l: float) -> Untold:
    """What may be in the tank at `time_s` [s] of water that was not told of. `floor_mg_l`: what the
    ORP would have shown of one pour [mg/L as Cl2]."""
    if setup.untold <= 0.0 or belief.full_s is None:
        return Untold()
    since_h = max(time_s - belief.full_s, 0.0) / 3600.0
    there = setup.untold * (1.0 - math.exp(-since_h / 24.0))
    grain_h = min(_GRAIN_H * round(since_h / _GRAIN_H), 24.0 * _LONGEST_DAYS)
    water = belief.water_of(setup.water, belief.full_s)
    residual = _residual(water, grain_h, float(f"{floor_mg_l:.1g}"))
    over = _N - int(residual.searchsorted(setup.limit_mg_l, side="right"))
    q95_mg_l = 0.0
    if there > _UPPER:
        row = math.ceil((1.0 - _UPPER / there) * _N) - 1
        q95_mg_l = float(residual[max(row, 0)])
    return Untold(there * over / _N, q95_mg_l)


@lru_cache(maxsize=256)
def _residual(water: Water, since_h: float, floor_mg_l: float) -> Array:
    """Draws of the residual [mg/L as Cl2], in order, where raw water was topped up once a day, the
    last time within a day, for `since_h` [h]. What the ORP would have shown is left out."""
    share = log_normal(_N, "untold share", priors.EVAPORATED, priors.EVAPORATED_SIGMA)
    free, combined = tap_chlorine(water, _N)
    poured = share * (free + combined)  # a tank's ammonia binds the free part within a minute
    decay = log_normal(_N, "combined decay", priors.K_COMBINED_PER_H, priors.K_COMBINED_SIGMA)
    age_h = min(since_h, 24.0) * uniform(_N, "untold age")
    days = np.floor(np.maximum(since_h - age_h, 0.0) / 24.0) + 1.0
    left_a_day = np.exp(-24.0 * decay)
    kept = (1.0 - left_a_day**days) / (1.0 - left_a_day)
    unseen = poured < floor_mg_l
    residual = np.sort(np.where(unseen, poured * np.exp(-decay * age_h) * kept, 0.0))
    residual.setflags(write=False)
    return np.asarray(residual)
