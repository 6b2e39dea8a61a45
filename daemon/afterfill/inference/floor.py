"""The smallest residual that would be called now with 95 % power."""

import math

import numpy as np

from afterfill.inference import prior
from afterfill.inference.draws import Array, normal
from afterfill.inference.learnt import Learnt, drawn

_N = 192
_POWER_ROW = math.ceil(0.95 * _N) - 1
NEED_ANNOUNCED_MV, NEED_UNANNOUNCED_MV = 9.0, 38.0  # steps that move the odds past 'raise'
NEED_NOISES = 4.0


def detection_floor_mg_l(
    learnt: Learnt, noise_mv: float, announced: bool, hocl: float, combined: bool
) -> float:
    """Residual [mg/L as Cl2] whose step is large enough on 95 of 100 probes like this one may be.

    `learnt`: what is known of the probe; `noise_mv`: learnt noise; `hocl`: share of HOCl at the
    tank's pH; `combined`: the source holds chloramine, which moves the ORP less.
    """
    need_mv = (NEED_ANNOUNCED_MV if announced else NEED_UNANNOUNCED_MV) + NEED_NOISES * noise_mv
    b_mv, c0 = drawn(learnt, _N, "b_mv"), drawn(learnt, _N, "c0_mg_l")
    if combined:
        weight = np.minimum(drawn(learnt, _N, "w_combined"), 1.0)
    else:
        w_ocl = np.clip(prior.W_OCL + 0.2 * normal(_N, 3), 0.0, 1.0)
        weight = hocl + w_ocl * (1.0 - hocl)
    needed: Array = c0 * (10.0 ** (need_mv / b_mv) - 1.0) / weight
    return float(np.sort(needed)[_POWER_ROW])
