"""Chlorine and ammonia in water over time: formation, hydrolysis, disproportionation, breakpoint.

Scheme and constants: chloramine_scheme. Nitrogen is conserved; pH and alkalinity stay as given.
Use it for pH 6.5-9.5, 4-35 degrees C, Cl2:N mass ratios to 12. Against published half-lives it
holds within 40 %.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from afterfill.chemistry.chloramine_scheme import (
    CHLORINES,
    Conditions,
    network,
)
from afterfill.chemistry.constants import CL2, N
from afterfill.chemistry.domain import Array, not_negative, within
from afterfill.chemistry.rosenbrock import Integrator

_MOL_PER_MG_CL2 = 1.0 / (1000.0 * CL2.value)
_MOL_PER_MG_N = 1.0 / (1000.0 * N.value)


class Amounts(NamedTuple):
    """Chlorine species [mg/L as Cl2] and free ammonia, NH3 and NH4+ [mg/L as N]."""

    free_mg_l: float = 0.0
    ammonia_mg_l: float = 0.0
    mono_mg_l: float = 0.0
    di_mg_l: float = 0.0
    tri_mg_l: float = 0.0

    @property
    def residual_mg_l(self) -> float:
        """Total residual chlorine [mg/L as Cl2]."""
        return self.free_mg_l + self.mono_mg_l + self.di_mg_l + self.tri_mg_l


def simulate(
    start: Amounts, conditions: Conditions, times_s: Sequence[float], relative: float = 1e-4
) -> list[Amounts]:
    """What is there at each of `times_s` (rising, >= 0) from `start`.

    Within 1e-3 mg/L of the exact solution of the scheme at the default `relative` error per step.
    Raises ModelDomainError for conditions outside their ranges, negative amounts or falling times.

    >>> later = simulate(Amounts(2.0, 0.5), Conditions(7.5, 25.0, 100.0), [86400.0])[0]
    >>> round(later.mono_mg_l, 3)
    1.788
    """
    state, now, found = molar(start), 0.0, []
    integrator = Integrator(network(conditions), relative)
    for time_s in times_s:
        within("time", time_s, now, 1e9, "s")
        state = integrator.advance(state, time_s - now)
        now = time_s
        found.append(amounts(state))
    return found


def molar(start: Amounts) -> Array:
    """The scheme's state [mol/L] for these amounts. Raises ModelDomainError for negative ones.

    >>> round(float(molar(Amounts(free_mg_l=70.906))[0]), 6)
    0.001
    """
    for what, value in zip(Amounts._fields, start, strict=True):
        not_negative(what, value, "mg/L")
    chlorine = [value * _MOL_PER_MG_CL2 for value in start]
    return np.array(
        [
            chlorine[0],
            start.ammonia_mg_l * _MOL_PER_MG_N,
            *(c / n for c, n in zip(chlorine[2:], CHLORINES[2:5], strict=True)),
            0.0,
            0.0,
        ]
    )


def amounts(state: Array) -> Amounts:
    """Amounts [mg/L] of a state of the scheme [mol/L].

    >>> amounts(molar(Amounts(di_mg_l=0.5))).di_mg_l
    0.5
    """
    free, ammonia, *combined = state.tolist()[:5]
    masses = (c * n / _MOL_PER_MG_CL2 for c, n in zip(combined, CHLORINES[2:5], strict=True))
    return Amounts(free / _MOL_PER_MG_CL2, ammonia / _MOL_PER_MG_N, *masses)
