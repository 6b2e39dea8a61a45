"""What a response check teaches: one step that was measured between two waters of known chlorine.

The step of the law, ``b log10(1 + C_eff / C0)``, is compared in logarithms with the one measured;
b, C0 and the weight of combined chlorine move together to where both agree, each as far as it was
uncertain (an extended Kalman update, iterated to its mode). Form: Bell & Cathey 1993, the iterated
Kalman filter as a Gauss-Newton method (from memory).
"""

import math
from dataclasses import replace

import numpy as np

from afterfill.chemistry.acid_base import hocl_fraction
from afterfill.inference.calibration.learnt import PARAMETERS, Learnt
from afterfill.inference.filter.streams import Array
from afterfill.inference.model import priors
from afterfill.inference.model.electrode import LOGARITHMIC, PH_REFERENCE, ElectrodeLaw, log_step
from afterfill.records import ResponseCheck

_PLACES = [PARAMETERS.index(name) for name in ("b_mv", "c0_mg_l", "w_combined")]
_MEASURED_SIGMA, _TYPICAL_SIGMA = 0.15, 0.4  # of the tap's residual: a kit, a yearly report
_LEAST_STEP_MV = 1.0
_USUAL_C = 25.0
_PASSES = 12  # it stands still to ten digits well before


def updated_by_check(
    learnt: Learnt, check: ResponseCheck, law: ElectrodeLaw = LOGARITHMIC
) -> Learnt:
    """The probe's figures after a check; lags are not taught: a cup is not a tank."""
    mean, variance = learnt.mean[_PLACES], learnt.sd[_PLACES] ** 2
    measured = math.log(max(check.step_mv, _LEAST_STEP_MV))
    point = mean
    for _ in range(_PASSES):
        step_mv, slope = _step(point, check, law)
        noise = _noise_var(check, float(slope[1]))
        gain = variance * slope / (float(slope @ (variance * slope)) + noise)
        point = mean + gain * (measured - math.log(step_mv) - float(slope @ (mean - point)))
    left = np.sqrt(np.maximum((1.0 - gain * slope) * variance, 0.0))
    all_mean, all_sd = learnt.mean.copy(), learnt.sd.copy()
    all_mean[_PLACES], all_sd[_PLACES] = point, left
    return replace(learnt, mean=all_mean, sd=all_sd)


def step_expected_mv(
    learnt: Learnt, check: ResponseCheck, law: ElectrodeLaw = LOGARITHMIC
) -> float:
    """The step [mV] that the middle of what is learnt gives between the check's two waters."""
    return _step(learnt.mean[_PLACES], check, law)[0]


def step_sigma(learnt: Learnt, check: ResponseCheck, law: ElectrodeLaw = LOGARITHMIC) -> float:
    """How unsure the measured step is: standard deviation of its logarithm, from the reading and
    from what the water is known to have held."""
    return math.sqrt(_noise_var(check, float(_step(learnt.mean[_PLACES], check, law)[1][1])))


def _step(point: Array, check: ResponseCheck, law: ElectrodeLaw) -> tuple[float, Array]:
    """Step [mV] at logarithms of b, C0 and weight, and how its logarithm moves with each."""
    hocl = hocl_fraction(PH_REFERENCE if check.ph is None else check.ph, _USUAL_C)
    free, combined = check.free_chlorine_mg_l, check.combined_chlorine_mg_l
    return log_step(law, point, priors.W_OCL, free, combined, hocl)


def _noise_var(check: ResponseCheck, bend: float) -> float:
    """Variance of the logarithm of the step: of the reading, and of what the water held."""
    sigma = _MEASURED_SIGMA if check.measured else _TYPICAL_SIGMA
    return (check.step_sd_mv / max(check.step_mv, _LEAST_STEP_MV)) ** 2 + (bend * sigma) ** 2
