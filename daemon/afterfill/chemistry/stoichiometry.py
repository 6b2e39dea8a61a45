"""Chlorine and nitrogen in fixed proportions: what chloramine holds, and what it gives back.

Everything is mg/L as Cl2 and mg/L as N. Source: molar masses of constants.CL2 and constants.N; one
NH2Cl carries one active chlorine and one nitrogen.
"""

from typing import NamedTuple, TypeVar

import numpy as np

from afterfill.chemistry.constants import CL2, N
from afterfill.chemistry.domain import Array, not_negative
from afterfill.errors import ModelDomainError

Amount = TypeVar("Amount", float, Array)

MG_CL2_PER_MG_N = CL2.value / N.value  # 5.0622: monochloramine, mole for mole


class Combined(NamedTuple):
    """Water after chlorine met ammonia: free and combined chlorine [mg/L as Cl2] and the ammonia
    that is still free to combine [mg/L as N]."""

    free_mg_l: float
    combined_mg_l: float
    ammonia_mg_l: float


def ammonia_from_chloramine(combined_mg_l: Amount) -> Amount:
    """Ammonia [mg/L as N] that monochloramine [mg/L as Cl2] releases when its chlorine is removed.

    Raises ModelDomainError for a negative amount.

    >>> round(ammonia_from_chloramine(1.0), 5)
    0.19754
    """
    not_negative("combined chlorine", combined_mg_l, "mg/L")
    return combined_mg_l / MG_CL2_PER_MG_N


def chloramine_from_ammonia(ammonia_mg_l: Amount) -> Amount:
    """Most monochloramine [mg/L as Cl2] that this ammonia [mg/L as N] can hold.

    Raises ModelDomainError for a negative amount.

    >>> round(chloramine_from_ammonia(0.1), 4)
    0.5062
    """
    not_negative("ammonia", ammonia_mg_l, "mg/L as N")
    return ammonia_mg_l * MG_CL2_PER_MG_N


def uncombined_ammonia(combined_mg_l: float, chlorine_to_nitrogen: float) -> float:
    """Ammonia [mg/L as N] left beside the chloramine of a tap fed at this Cl2:N mass ratio.

    Zero at and above the mole-for-mole ratio 5.06, where nothing is left. Ratios 1-8; practice is
    3-5 (from memory). Raises ModelDomainError outside.

    >>> round(uncombined_ammonia(2.0, 4.0), 4)
    0.1049
    """
    return max(
        0.0,
        total_ammonia_of_tap(combined_mg_l, chlorine_to_nitrogen)
        - ammonia_from_chloramine(combined_mg_l),
    )


def total_ammonia_of_tap(combined_mg_l: float, chlorine_to_nitrogen: float) -> float:
    """All the ammonia-nitrogen [mg/L as N] in chloraminated water, bound and free, from its Cl2:N.

    Raises ModelDomainError for a negative amount or a ratio outside 1-8, beyond which chlorine
    destroys the ammonia instead of binding it.

    >>> total_ammonia_of_tap(2.0, 4.0)
    0.5
    """
    not_negative("combined chlorine", combined_mg_l, "mg/L")
    if not 1.0 <= chlorine_to_nitrogen <= 8.0:
        raise ModelDomainError(
            f"chlorine to nitrogen is {chlorine_to_nitrogen:g}: give a mass ratio between 1 and 8"
        )
    return combined_mg_l / chlorine_to_nitrogen


def combine(free_mg_l: float, ammonia_mg_l: float, combined_mg_l: float = 0.0) -> Combined:
    """Free chlorine and ammonia after they have met: mole for mole into monochloramine.

    It takes seconds to a minute at pH 6.5-9; see chloramine.formation_half_life_s. Chlorine beyond
    mole for mole stays free here; breakpoint goes on slowly and is chloramine's affair. Raises
    ModelDomainError for negative amounts.

    >>> [round(x, 4) for x in combine(0.25, 0.1)]
    [0.0, 0.25, 0.0506]
    """
    not_negative("free chlorine", free_mg_l, "mg/L")
    not_negative("ammonia", ammonia_mg_l, "mg/L as N")
    not_negative("combined chlorine", combined_mg_l, "mg/L")
    bound = min(free_mg_l, ammonia_mg_l * MG_CL2_PER_MG_N)
    return Combined(
        free_mg_l - bound,
        combined_mg_l + bound,
        max(0.0, ammonia_mg_l - bound / MG_CL2_PER_MG_N),
    )


def combine_arrays(
    free_mg_l: Array, ammonia_mg_l: Array, combined_mg_l: Array
) -> tuple[Array, Array, Array]:
    """`combine` for many waters at once: free, combined [mg/L as Cl2], ammonia [mg/L as N].

    Raises ModelDomainError for negative amounts.

    >>> [float(x[0].round(4)) for x in combine_arrays(*(np.array([v]) for v in (0.25, 0.1, 0.0)))]
    [0.0, 0.25, 0.0506]
    """
    not_negative("free chlorine", free_mg_l, "mg/L")
    not_negative("ammonia", ammonia_mg_l, "mg/L as N")
    not_negative("combined chlorine", combined_mg_l, "mg/L")
    bound = np.minimum(free_mg_l, ammonia_mg_l * MG_CL2_PER_MG_N)
    ammonia = np.maximum(0.0, ammonia_mg_l - bound / MG_CL2_PER_MG_N)
    return free_mg_l - bound, combined_mg_l + bound, ammonia
