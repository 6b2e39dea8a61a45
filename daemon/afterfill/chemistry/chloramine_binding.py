"""Free chlorine meets ammonia and becomes chloramine: mole for mole, second order, in closed form.

This is all that a stocked tank shows of the scheme of `chloramine_scheme` within a day. Left out,
with what it would change there (the full scheme, 25 degrees C, pH 6.5-8.5, computed here): the
slow self-decay of chloramine, under 1 % in six hours and 8 % in a day, where a tank's own demand
takes more; and breakpoint, where free chlorine is more than the ammonia binds: the residual is then
overstated, by up to a half after an hour, which is the safe side.
"""

from functools import lru_cache

import numpy as np

from afterfill.chemistry.chloramine_scheme import Conditions, rate_constants
from afterfill.chemistry.constants import CL2
from afterfill.chemistry.domain import Array, not_negative

_STEP_PH, _STEP_C = 0.1, 1.0  # the rate changes by 15 % or less between two of these


@lru_cache(maxsize=512)
def _rate(ph_steps: int, c_steps: int) -> float:
    conditions = Conditions(ph_steps * _STEP_PH, c_steps * _STEP_C)
    return rate_constants(conditions)[0] / (1000.0 * CL2.value)


def binding_rate(ph: float, temperature_c: float) -> float:
    """Rate of free chlorine and ammonia [L/(mg s)], both as Cl2, to the nearest 0.1 of pH (6-10)
    and 1 degree C (0-35). Raises ModelDomainError outside. Source: constants.SCHEME_RATES.

    >>> round(binding_rate(7.5, 25.0), 2)
    0.49
    """
    return _rate(round(ph / _STEP_PH), round(temperature_c / _STEP_C))


def bound_mg_l(free_mg_l: Array, capacity_mg_l: Array, rate: float, seconds: float) -> Array:
    """Chlorine [mg/L as Cl2] that was bound after `seconds`, where `free_mg_l` met ammonia that
    binds `capacity_mg_l` at most, with a `rate` [L/(mg s)] of `binding_rate`.

    Raises ModelDomainError for negative seconds; amounts are the caller's, 0 or more.

    >>> round(float(bound_mg_l(np.array(0.25), np.array(0.5), 0.492, 20.0)), 3)
    0.239
    """
    not_negative("seconds", seconds, "s")
    scarce, ample = np.minimum(free_mg_l, capacity_mg_l), np.maximum(free_mg_l, capacity_mg_l)
    gap = np.maximum(ample - scarce, 1e-9 * ample + 1e-30)  # equal amounts: the limit, no 0/0
    gone = -np.expm1(-gap * (rate * seconds))
    return np.asarray(np.minimum(scarce * ample * gone / (gap + scarce * gone), scarce))
