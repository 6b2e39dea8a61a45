"""Where a relation may be asked: a value outside its source's range is refused, never clamped."""

import math
from typing import TYPE_CHECKING, Any, TypeAlias

from afterfill.errors import ModelDomainError

if TYPE_CHECKING:  # what has no arrays need not load numpy, which is slow and large on a Pi
    import numpy as np
    from numpy.typing import NDArray

    Array: TypeAlias = NDArray[np.float64]
else:
    Array = Any

PH = (0.0, 14.0)
LIQUID_WATER_C = (0.0, 50.0)
FRESH_IONIC_STRENGTH = (0.0, 0.1)  # mol/L; Davies holds to here, fresh water to about 0.02
_LARGEST = math.nextafter(math.inf, 0.0)


def within(what: str, value: float | Array, low: float, high: float, unit: str = "") -> None:
    """Refuse a value, or an array with a value, outside [low, high]; NaN is outside.

    Raises ModelDomainError naming the quantity, what it was and what is allowed.

    >>> within("pH", 7.2, 0.0, 14.0)
    """
    wrong = _outside(value, low, high)
    if wrong is not None:
        space = f" {unit}" if unit else ""
        raise ModelDomainError(
            f"{what} is {wrong:g}{space}: this relation holds from {low:g} to {high:g}{space}"
        )


def not_negative(what: str, value: float | Array, unit: str = "") -> None:
    """Refuse a negative or non-finite amount.

    Raises ModelDomainError naming the quantity and what it was.

    >>> not_negative("litres", 25.0)
    """
    wrong = _outside(value, 0.0, _LARGEST)
    if wrong is not None:
        space = f" {unit}" if unit else ""
        raise ModelDomainError(f"{what} is {wrong:g}{space}: give 0 or more")


def _outside(value: float | Array, low: float, high: float) -> float | None:
    """The value, or the first of an array, that is outside; None when all are inside."""
    if isinstance(value, (int, float)):
        return None if low <= value <= high else float(value)
    import numpy as np

    values = np.asarray(value, dtype=np.float64)
    if values.size == 0 or (values.min() >= low and values.max() <= high):  # false for NaN
        return None
    return float(values[~((values >= low) & (values <= high))].flat[0])
