"""What a stocked tank does by itself: the filter eats ammonia, air gives oxygen."""

from math import exp, inf, log

from afterfill.chemistry.constants import (
    KELVIN,
    NITRIFICATION_PER_DAY,
    OXYGEN_SATURATION,
)
from afterfill.chemistry.domain import within
from afterfill.chemistry.standing import Interval
from afterfill.errors import ModelDomainError


def filter_hours(
    ammonia_mg_l: float, target_mg_l: float, per_day: Interval | None = None
) -> Interval:
    """Hours until a mature filter has brought total ammonia [mg/L as N] down to `target_mg_l`.

    `per_day`: first-order removal [1/d], by default constants.NITRIFICATION_PER_DAY; learnt values
    are better. Holds below about 1 mg/L as N. Raises ModelDomainError above 2 mg/L as N, where the
    filter works at its full rate, or for a target of 0.

    >>> round(filter_hours(0.3, 0.1).middle, 1)
    7.5
    """
    within("ammonia", ammonia_mg_l, 0.0, 2.0, "mg/L as N")
    if not target_mg_l > 0.0:
        raise ModelDomainError(f"the target is {target_mg_l:g} mg/L: give one above 0")
    low, middle, high = (
        (per_day.low, per_day.middle, per_day.high) if per_day else NITRIFICATION_PER_DAY.values
    )
    folds = max(0.0, log(max(ammonia_mg_l, 1e-300) / target_mg_l))
    hours = [24.0 * folds / rate if rate > 0.0 else inf for rate in (high, middle, low)]
    return Interval(*hours)


def oxygen_saturation_mg_l(temperature_c: float) -> float:
    """Oxygen [mg/L] in fresh water at equilibrium with air at 1 atm, 0-40 degrees C.

    Raises ModelDomainError outside. Source: constants.OXYGEN_SATURATION.

    >>> round(oxygen_saturation_mg_l(25.0), 3)
    8.263
    """
    within("temperature", temperature_c, 0.0, 40.0, "°C")
    inverse = 1.0 / (temperature_c + KELVIN)
    return exp(sum(c * inverse**power for power, c in enumerate(OXYGEN_SATURATION.values)))
