"""How much ammonia and chlorine fish bear, and for how long.

Criteria protect communities of wild species; they are guides, not proofs, for a given fish.
"""

from dataclasses import dataclass
from typing import Literal

from afterfill.chemistry.acid_base import hocl_fraction
from afterfill.chemistry.constants_fish import (
    AMMONIA_ACUTE,
    AMMONIA_ACUTE_SALMONID,
    AMMONIA_CHRONIC,
    CHLORAMINE_LETHAL,
    HARM_BELOW_LETHAL,
    HOCL_TOXICITY,
    LETHAL_RANGE_MINUTES,
    MORE_SENSITIVE_FISH,
)
from afterfill.chemistry.domain import not_negative, within

_PH = (6.5, 9.0)
_TEMPERATURE_C = (0.0, 30.0)
_SHORTEST_MIN, _LONGEST_MIN = LETHAL_RANGE_MINUTES.values


@dataclass(frozen=True, slots=True)
class TimeLeft:
    """Minutes; "less than" and "more than" mark the ends of the range in which the law holds."""

    bound: Literal["about", "less than", "more than"]
    minutes: float


def ammonia_acute_mg_l(ph: float, temperature_c: float) -> float:
    """Total ammonia [mg/L as N] not to exceed as a one-hour mean (EPA 2013), pH 6.5-9, 0-30 C.

    With salmonids, which is the stricter in cold water and the same in warm. Raises
    ModelDomainError outside.

    >>> round(ammonia_acute_mg_l(7.0, 20.0), 1)
    16.8
    """
    within("pH", ph, *_PH)
    within("temperature", temperature_c, *_TEMPERATURE_C, "°C")
    a, b, c, d, e, f, g = AMMONIA_ACUTE.values
    general = float(a * _two_forms(ph, b, c, d) * e * 10.0 ** (f * (g - temperature_c)))
    return min(general, _two_forms(ph, *AMMONIA_ACUTE_SALMONID.values))


def ammonia_chronic_mg_l(ph: float, temperature_c: float) -> float:
    """Total ammonia [mg/L as N] not to exceed as a thirty-day mean (EPA 2013), pH 6.5-9, 0-30 C.

    Raises ModelDomainError outside.

    >>> round(ammonia_chronic_mg_l(7.0, 20.0), 3)
    1.887
    """
    within("pH", ph, *_PH)
    within("temperature", temperature_c, *_TEMPERATURE_C, "°C")
    a, b, c, d, e, f, g, h = AMMONIA_CHRONIC.values
    return float(a * _two_forms(ph, b, c, d) * e * 10.0 ** (f * (g - max(temperature_c, h))))


def time_left(chloramine_mg_l: float) -> TimeLeft:
    """How long half of juvenile chinook salmon bear a constant chloramine [mg/L as Cl2].

    Fed fish bore more. Raises ModelDomainError for a negative amount. Source:
    constants_fish.CHLORAMINE_LETHAL.

    >>> time_left(0.5).bound, round(time_left(0.5).minutes / 60.0, 1)
    ('about', 6.1)
    """
    not_negative("chloramine", chloramine_mg_l, "mg/L")
    factor, power = CHLORAMINE_LETHAL.values
    share_per_min = (1000.0 * chloramine_mg_l / factor) ** (1.0 / power)
    if share_per_min * _SHORTEST_MIN > 1.0:
        return TimeLeft("less than", _SHORTEST_MIN)
    if share_per_min * _LONGEST_MIN < 1.0:
        return TimeLeft("more than", _LONGEST_MIN)
    return TimeLeft("about", 1.0 / share_per_min)


def harm_within(chloramine_mg_l: float, *, sensitive: bool) -> TimeLeft:
    """Within what time a constant chloramine [mg/L as Cl2] is likely to do harm.

    The law of `time_left` with a margin: twice the chloramine, because it tells when half have
    died, and for `sensitive` fish 3.3 times more. No deadline: gills suffer before fish die. Raises
    ModelDomainError for a negative amount. Source: constants_fish.HARM_BELOW_LETHAL,
    constants_fish.MORE_SENSITIVE_FISH.

    >>> round(harm_within(0.5, sensitive=False).minutes), harm_within(0.5, sensitive=True).bound
    (80, 'less than')
    """
    margin = HARM_BELOW_LETHAL.value * (MORE_SENSITIVE_FISH.value if sensitive else 1.0)
    return time_left(margin * chloramine_mg_l)


def chloramine_equivalent_mg_l(
    free_mg_l: float, combined_mg_l: float, ph: float, temperature_c: float
) -> float:
    """Chloramine [mg/L as Cl2] as harmful as this free and combined chlorine together.

    HOCl counts four times NH2Cl and OCl-. Ranges and errors of hocl_fraction. Source:
    constants_fish.HOCL_TOXICITY.

    >>> round(chloramine_equivalent_mg_l(0.1, 0.2, 7.5, 25.0), 3)
    0.456
    """
    not_negative("free chlorine", free_mg_l, "mg/L")
    not_negative("combined chlorine", combined_mg_l, "mg/L")
    hocl = hocl_fraction(ph, temperature_c)
    return combined_mg_l + free_mg_l * (1.0 + (HOCL_TOXICITY.value - 1.0) * hocl)


def _two_forms(ph: float, low: float, middle: float, high: float) -> float:
    """Weighted sum over the two forms of ammonia, as the EPA criteria write it."""
    return float(low / (1.0 + 10.0 ** (middle - ph)) + high / (1.0 + 10.0 ** (ph - middle)))
