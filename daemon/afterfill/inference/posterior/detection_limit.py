"""The smallest residual that would be called now with 95 % power, and the trace that quiet hides.

Both are asked for each minute and change over hours: what was worked out for the same probe, noise
(to 0.1 mV) and share of HOCl (to 0.01) is kept.
"""

import math
from functools import lru_cache

import numpy as np

from afterfill.inference.calibration.learnt import PARAMETERS, Learnt, drawn
from afterfill.inference.filter.streams import normal
from afterfill.inference.model import priors
from afterfill.inference.model.electrode import ElectrodeLaw, Probe

_N = 192
_POWER_ROW = math.ceil(0.95 * _N) - 1
NEED_ANNOUNCED_MV, NEED_UNANNOUNCED_MV = 20.0, 38.0  # steps that move the odds past 'raise'
NEED_NOISES = 4.0
_Known = tuple[bytes, bytes]  # means and deviations of what is learnt: quick to look up


def detection_limit_mg_l(
    learnt: Learnt, law: ElectrodeLaw, noise_mv: float, announced: bool, hocl: float, combined: bool
) -> float:
    """Residual [mg/L as Cl2] whose step is large enough on 95 of 100 probes like this one may be.

    `learnt`: what is known of the probe; `noise_mv`: learnt noise; `hocl`: share of HOCl at the
    tank's pH; `combined`: the source holds chloramine, which moves the ORP less.
    """
    need_mv = (NEED_ANNOUNCED_MV if announced else NEED_UNANNOUNCED_MV) + NEED_NOISES * noise_mv
    return _limit_mg_l(_known(learnt), law, round(need_mv, 1), max(round(hocl, 2), 0.01), combined)


def trace_mg_l(learnt: Learnt, law: ElectrodeLaw, noise_mv: float, hocl: float) -> float:
    """The free residual [mg/L as Cl2] whose step a middling probe like this one would not set apart
    from quiet. Arguments as `detection_limit_mg_l`."""
    need_mv = priors.TRACE_MV + priors.TRACE_NOISES * noise_mv
    return _trace_mg_l(_known(learnt), law, round(need_mv, 1), max(round(hocl, 2), 0.01))


def _known(learnt: Learnt) -> _Known:
    return learnt.mean.tobytes(), learnt.sd.tobytes()


def _learnt(known: _Known) -> Learnt:
    return Learnt(np.frombuffer(known[0]), np.frombuffer(known[1]))


@lru_cache(maxsize=512)
def _limit_mg_l(
    known: _Known, law: ElectrodeLaw, need_mv: float, hocl: float, combined: bool
) -> float:
    learnt = _learnt(known)
    probe = Probe(
        drawn(learnt, _N, "b_mv"),
        drawn(learnt, _N, "c0_mg_l"),
        np.clip(priors.W_OCL + priors.W_OCL_SD * normal(_N, "w_ocl"), 0.0, 1.0),
        np.minimum(drawn(learnt, _N, "w_combined"), 1.0),
    )
    needed = law.needed_mg_l(probe, need_mv, hocl, combined=combined)
    return float(np.sort(needed)[_POWER_ROW])


@lru_cache(maxsize=512)
def _trace_mg_l(known: _Known, law: ElectrodeLaw, need_mv: float, hocl: float) -> float:
    mean = _learnt(known).mean
    b_mv, c0_mg_l, weight = (
        np.exp(mean[PARAMETERS.index(name)]) for name in ("b_mv", "c0_mg_l", "w_combined")
    )
    middling = Probe(b_mv, c0_mg_l, np.asarray(priors.W_OCL), weight)
    return float(law.needed_mg_l(middling, need_mv, hocl, combined=False))
