"""Where a relation may be asked: a value outside its source's range is refused, never clamped."""

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from afterfill.errors import ModelDomainError

Array: TypeAlias = NDArray[np.float64]

PH = (0.0, 14.0)
LIQUID_WATER_C = (0.0, 50.0)
FRESH_IONIC_STRENGTH = (0.0, 0.1)  # mol/L; Davies holds to here, fresh water to about 0.02


def within(what: str, value: float | Array, low: float, high: float, unit: str = "") -> None:
    """Refuse a value, or an array with a value, outside [low, high]; NaN is outside.

    Raises ModelDomainError naming the quantity, what it was and what is allowed.

    >>> within("pH", 7.2, 0.0, 14.0)
    """
    if isinstance(value, (int, float)):
        if low <= value <= high:
            return
        worst = float(value)
    else:
        values = np.asarray(value, dtype=np.float64)
        if values.size == 0 or (values.min() >= low and values.max() <= high):  # false for NaN
            return
        worst = float(values[~((values >= low) & (values <= high))].flat[0])
    space = f" {unit}" if unit else ""
    raise ModelDomainError(
        f"{what} is {worst:g}{space}: this relation holds from {low:g} to {high:g}{space}"
    )


def not_negative(what: str, value: float | Array, unit: str = "") -> None:
    """Refuse a negative or non-finite amount.

    Raises ModelDomainError.

    >>> not_negative("litres", 25.0)
    """
    within(what, value, 0.0, float(np.finfo(np.float64).max), unit)
