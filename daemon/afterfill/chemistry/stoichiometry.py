"""Chlorine and nitrogen in fixed proportions: what chloramine holds, and what it gives back.

Everything is mg/L as Cl2 and mg/L as N. Source: molar masses of constants.CL2 and constants.N; one
NH2Cl carries one active chlorine and one nitrogen.
"""

from typing import TypeVar

from afterfill.chemistry.constants import CL2, N
from afterfill.chemistry.domain import Array, not_negative
from afterfill.errors import ModelDomainError

Amount = TypeVar("Amount", float, Array)

MG_CL2_PER_MG_N = CL2.value / N.value  # 5.0622: monochloramine, mole for mole


def ammonia_from_chloramine(combined_mg_l: Amount) -> Amount:
    """Ammonia [mg/L as N] that monochloramine [mg/L as Cl2] releases when its chlorine is removed.

    Raises ModelDomainError for a negative amount.

    >>> round(ammonia_from_chloramine(1.0), 5)
    0.19754
    """
    not_negative("combined chlorine", combined_mg_l, "mg/L")
    return combined_mg_l / MG_CL2_PER_MG_N


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
