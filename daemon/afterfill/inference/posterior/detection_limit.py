"""The smallest residual that would be called now with 95 % power."""

import math

import numpy as np

from afterfill.inference.calibration.learnt import Learnt, drawn
from afterfill.inference.filter.streams import normal
from afterfill.inference.model import priors
from afterfill.inference.model.electrode import ElectrodeLaw, Probe

_N = 192
_POWER_ROW = math.ceil(0.95 * _N) - 1
NEED_ANNOUNCED_MV, NEED_UNANNOUNCED_MV = 13.0, 38.0  # steps that move the odds past 'raise'
NEED_NOISES = 4.0


def detection_limit_mg_l(
    learnt: Learnt, law: ElectrodeLaw, noise_mv: float, announced: bool, hocl: float, combined: bool
) -> float:
    """Residual [mg/L as Cl2] whose step is large enough on 95 of 100 probes like this one may be.

    `learnt`: what is known of the probe; `noise_mv`: learnt noise; `hocl`: share of HOCl at the
    tank's pH; `combined`: the source holds chloramine, which moves the ORP less.
    """
    need_mv = (NEED_ANNOUNCED_MV if announced else NEED_UNANNOUNCED_MV) + NEED_NOISES * noise_mv
    probe = Probe(
        drawn(learnt, _N, "b_mv"),
        drawn(learnt, _N, "c0_mg_l"),
        np.clip(priors.W_OCL + priors.W_OCL_SD * normal(_N, "w_ocl"), 0.0, 1.0),
        np.minimum(drawn(learnt, _N, "w_combined"), 1.0),
    )
    needed = law.needed_mg_l(probe, need_mv, hocl, combined=combined)
    return float(np.sort(needed)[_POWER_ROW])
