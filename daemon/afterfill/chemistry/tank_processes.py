"""What a stocked tank does by itself: feed makes ammonia, the filter eats it, air gives oxygen."""

from math import exp, inf, log

from afterfill.chemistry.constants import (
    AMMONIA_PER_PROTEIN,
    KELVIN,
    NITRIFICATION_ALKALINITY,
    NITRIFICATION_OXYGEN,
    NITRIFICATION_PER_DAY,
    OXYGEN_SATURATION,
)
from afterfill.chemistry.domain import not_negative, within
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


def ammonia_after_filter(ammonia_mg_l: float, hours: float, per_day: float) -> float:
    """Total ammonia [mg/L as N] after `hours` of first-order removal [1/d].

    Raises ModelDomainError for negative input.

    >>> round(ammonia_after_filter(0.3, 12.0, 3.5), 4)
    0.0521
    """
    not_negative("ammonia", ammonia_mg_l, "mg/L as N")
    not_negative("hours", hours, "h")
    not_negative("removal", per_day, "1/d")
    return ammonia_mg_l * exp(-per_day * hours / 24.0)


def nitrification_cost(ammonia_mg_l: float) -> tuple[float, float]:
    """Alkalinity [mg/L as CaCO3] and oxygen [mg/L] that nitrifying this ammonia [mg/L as N] uses.

    Raises ModelDomainError for a negative amount. Source: constants.NITRIFICATION_ALKALINITY,
    NITRIFICATION_OXYGEN.

    >>> [round(x, 2) for x in nitrification_cost(0.5)]
    [3.55, 2.2]
    """
    not_negative("ammonia", ammonia_mg_l, "mg/L as N")
    return NITRIFICATION_ALKALINITY.value * ammonia_mg_l, NITRIFICATION_OXYGEN.value * ammonia_mg_l


def ammonia_from_feed(feed_g: float, protein_share: float, tank_litres: float) -> float:
    """Total ammonia [mg/L as N] that `feed_g` of feed with this protein share (0-1) ends in.

    Raises ModelDomainError outside, or for a tank without volume. Source:
    constants.AMMONIA_PER_PROTEIN.

    >>> round(ammonia_from_feed(1.0, 0.45, 100.0), 3)
    0.414
    """
    not_negative("feed", feed_g, "g")
    within("share of protein", protein_share, 0.0, 1.0)
    if not tank_litres > 0.0:
        raise ModelDomainError(f"the tank's volume is {tank_litres:g} L: give a volume above 0")
    return 1000.0 * AMMONIA_PER_PROTEIN.value * feed_g * protein_share / tank_litres


def oxygen_saturation_mg_l(temperature_c: float) -> float:
    """Oxygen [mg/L] in fresh water at equilibrium with air at 1 atm, 0-40 degrees C.

    Raises ModelDomainError outside. Source: constants.OXYGEN_SATURATION.

    >>> round(oxygen_saturation_mg_l(25.0), 3)
    8.263
    """
    within("temperature", temperature_c, 0.0, 40.0, "°C")
    inverse = 1.0 / (temperature_c + KELVIN)
    return exp(sum(c * inverse**power for power, c in enumerate(OXYGEN_SATURATION.values)))
