"""Free chlorine, monochloramine, dichloramine and ammonia in closed form: a filter's step.

Three processes, one after the other: free chlorine and ammonia combine mole for mole (second
order, exact); the water's organics eat both (first order, exact); monochloramine turns into
dichloramine and back, and both leave as nitrogen (the rates of the full scheme, with the small free
chlorine that hydrolysis keeps up at its steady state). Breakpoint is left out: beyond mole for
mole the excess stays free, and beside chloramine the residual is overstated (0.05 mg/L in half an
hour from 0.4 free and 0.2 combined). Error against the full scheme over two days at pH 6.5-8.5,
10-30 degrees C, up to 2 mg/L with at least 0.05 mg/L as N of ammonia beside it, in steps of a
minute: residual within STATED_ERROR_MG_L (a quarter of it from pH 7 up), ammonia within 0.02 mg/L
as N.
"""

import math
from collections.abc import Callable
from typing import NamedTuple, cast

import numpy as np

from afterfill.chemistry.chloramine_scheme import Conditions, rate_constants
from afterfill.chemistry.constants import CL2, N
from afterfill.chemistry.domain import Array, not_negative
from afterfill.chemistry.stoichiometry import MG_CL2_PER_MG_N

STATED_ERROR_MG_L = 0.06
_LEAST_AMMONIA_MG_L = 0.0014  # mg/L as N; below it the steady state of hydrolysis has no meaning


class ReducedRates(NamedTuple):
    """Rates of the reduced form, in L, mg (Cl2 or N) and s."""

    formation: float  # L/(mg Cl2 s)
    disproportionation: float  # L/(mg Cl2 s)
    hydrolysis: float  # (L/mg Cl2)(mg N/L)/s: divided by the free ammonia
    reversal: float  # L/(mg N s): dichloramine and ammonia back to monochloramine
    decomposition: float  # 1/s: dichloramine to nitrogen
    preference: float  # of the intermediate for di- over monochloramine
    free_demand: float  # 1/s
    combined_demand: float  # 1/s


class Reduced(NamedTuple):
    """Free chlorine, mono- and dichloramine [mg/L as Cl2] and free ammonia [mg/L as N]."""

    free_mg_l: float
    mono_mg_l: float
    di_mg_l: float
    ammonia_mg_l: float


class ReducedArrays(NamedTuple):
    """The same for many waters at once."""

    free_mg_l: Array
    mono_mg_l: Array
    di_mg_l: Array
    ammonia_mg_l: Array


class _Functions(NamedTuple):
    """What differs between numbers and arrays; the core is written, and typed, for numbers."""

    expm1: Callable[[float], float]
    larger: Callable[[float, float], float]
    smaller: Callable[[float, float], float]


_NUMBERS = _Functions(math.expm1, max, min)
_ARRAYS = _Functions(np.expm1, np.maximum, np.minimum)


def reduced_rates(conditions: Conditions) -> ReducedRates:
    """Rates at the conditions, worth keeping while pH and temperature stand still.

    Raises ModelDomainError outside the ranges of `Conditions`.

    >>> round(reduced_rates(Conditions(7.5, 25.0)).formation, 3)
    0.492
    """
    k = rate_constants(conditions)
    chlorine, nitrogen = 1.0 / (1000.0 * CL2.value), 1.0 / (1000.0 * N.value)
    return ReducedRates(
        k[0] * chlorine,
        k[4] * chlorine,
        k[2] * k[1] / k[0] * chlorine / nitrogen,
        k[5] * nitrogen,
        k[6],
        k[7] / k[8],
        k[14],
        k[15],
    )


def step(before: Reduced, rates: ReducedRates, seconds: float) -> Reduced:
    """The water after `seconds`; steps of a minute or less keep the stated error.

    Raises ModelDomainError for negative amounts.

    >>> after = step(Reduced(0.25, 0.0, 0.0, 0.1), reduced_rates(Conditions(7.5, 25.0)), 60.0)
    >>> round(after.free_mg_l, 3), round(after.mono_mg_l, 3), round(after.ammonia_mg_l, 3)
    (0.0, 0.25, 0.051)
    """
    _check(before, seconds)
    return Reduced._make(_after(before, rates, seconds, _NUMBERS))


def step_arrays(before: ReducedArrays, rates: ReducedRates, seconds: float) -> ReducedArrays:
    """`step` for many waters of one pH and temperature at once.

    Raises ModelDomainError for negative amounts.

    >>> waters = ReducedArrays(*(np.array([x]) for x in (0.25, 0.0, 0.0, 0.1)))
    >>> rates = reduced_rates(Conditions(7.5, 25.0))
    >>> round(float(step_arrays(waters, rates, 60.0).mono_mg_l[0]), 3)
    0.25
    """
    _check(before, seconds)
    return ReducedArrays._make(_after(cast(Reduced, before), rates, seconds, _ARRAYS))


def _check(before: Reduced | ReducedArrays, seconds: float) -> None:
    values: tuple[float | Array, ...] = before
    for what, value in zip(before._fields, values, strict=True):
        not_negative(what, value, "mg/L")
    not_negative("seconds", seconds, "s")


def _after(
    before: Reduced, rates: ReducedRates, seconds: float, do: _Functions
) -> tuple[float, float, float, float]:
    free, mono, di, ammonia = before
    if seconds < 1e-9:  # nothing happens, and the divisions below would underflow
        return free, mono, di, ammonia
    bound = _bound(free, ammonia * MG_CL2_PER_MG_N, rates.formation * seconds, do)
    free = (free - bound) * math.exp(-rates.free_demand * seconds)
    eaten = -math.expm1(-rates.combined_demand * seconds)
    given_back = eaten * (mono + bound + 0.5 * di)
    mono, di = (mono + bound) * (1.0 - eaten), di * (1.0 - eaten)
    ammonia = do.larger(0.0, ammonia + (given_back - bound) / MG_CL2_PER_MG_N)
    return (free, *_decomposed(mono, di, ammonia, rates, seconds, do))


def _decomposed(
    mono: float, di: float, ammonia: float, rates: ReducedRates, seconds: float, do: _Functions
) -> tuple[float, float, float]:
    pace = rates.disproportionation + rates.hydrolysis / do.larger(ammonia, _LEAST_AMMONIA_MG_L)
    turned = 2.0 * pace * mono * mono * seconds / (1.0 + 2.0 * pace * mono * seconds)
    back = rates.reversal * ammonia
    # the intermediate takes mono- or dichloramine with it; in the second case one chlorine returns
    preferred = 0.5 * rates.preference * di
    with_di = preferred / (preferred + mono + 1e-30)
    leaving = back + rates.decomposition * (1.0 + with_di)
    relaxed = -do.expm1(-leaving * seconds) / leaving
    # the time integral of dichloramine, made evenly over the step and leaving in first order
    held = turned / leaving + (di - turned / (leaving * seconds)) * relaxed
    released = turned - back * held
    gone = 0.5 * rates.decomposition * held
    return (
        do.larger(0.0, mono - released - gone * (1.0 - 2.0 * with_di)),
        do.larger(0.0, di + released - 2.0 * gone * (1.0 + with_di)),
        do.larger(0.0, ammonia + (0.5 * released - gone * with_di) / MG_CL2_PER_MG_N),
    )


def _bound(free: float, capacity: float, exposure: float, do: _Functions) -> float:
    """Chlorine bound when `free` meets ammonia of this `capacity` (both mg/L as Cl2)."""
    scarce, ample = do.smaller(free, capacity), do.larger(free, capacity)
    gap = do.larger(ample - scarce, 1e-9 * ample + 1e-30)  # equal amounts: the same limit, no 0/0
    gone = -do.expm1(-gap * exposure)
    return do.smaller(scarce, scarce * ample * gone / (gap + scarce * gone))
