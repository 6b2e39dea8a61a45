"""The limits a tank starts with, by the livestock it holds, each with where it comes from."""

from dataclasses import dataclass
from typing import Literal

from afterfill.errors import ModelDomainError

Livestock = Literal["salmonid", "warmwater", "sensitive"]

_PRACTICE = "common practice, no source"
_EPA_1984_ACUTE = (
    "US EPA 1984, Ambient water quality criteria for chlorine, EPA 440/5-84-030: fresh water, "
    "one-hour 19 ug/L (number from memory)"
)
_EPA_1984_CHRONIC = (
    "US EPA 1984, Ambient water quality criteria for chlorine, EPA 440/5-84-030: fresh water, "
    "four-day 11 ug/L (number from memory)"
)


@dataclass(frozen=True, slots=True)
class Limit:
    """An upper limit and its source."""

    value: float
    source: str


@dataclass(frozen=True, slots=True)
class Span:
    """A lowest and a highest value, and their source."""

    low: float
    high: float
    source: str


@dataclass(frozen=True, slots=True)
class Limits:
    """Residual [mg/L as Cl2], un-ionised ammonia [mg/L as N], pH and temperature [degrees C]."""

    residual_oxidant_mg_l: Limit
    free_ammonia_mg_l: Limit
    ph: Span
    temperature_c: Span


_CCME_AMMONIA = Limit(
    0.0156, "CCME water quality guideline for un-ionised ammonia, 0.019 mg/L as NH3 (secondary)"
)
_EIFAC_AMMONIA = Limit(
    0.0206, "EIFAC 1970, Technical Paper 11: 0.025 mg/L as NH3 (number from memory)"
)

_LIMITS: dict[str, Limits] = {
    "salmonid": Limits(
        Limit(0.011, _EPA_1984_CHRONIC),
        _CCME_AMMONIA,
        Span(6.5, 8.5, _PRACTICE),
        Span(4.0, 18.0, _PRACTICE),
    ),
    "warmwater": Limits(
        Limit(0.019, _EPA_1984_ACUTE),
        _EIFAC_AMMONIA,
        Span(6.0, 8.8, _PRACTICE),
        Span(18.0, 30.0, _PRACTICE),
    ),
    "sensitive": Limits(
        Limit(0.011, _EPA_1984_CHRONIC),
        _CCME_AMMONIA,
        Span(6.0, 8.2, _PRACTICE),
        Span(20.0, 28.0, _PRACTICE),
    ),
}


def default_limits(livestock: str) -> Limits:
    """Limits for "salmonid", "warmwater" or "sensitive" livestock (fry, shrimp, wild-caught).

    Raises ModelDomainError for any other word.

    >>> default_limits("warmwater").residual_oxidant_mg_l.value
    0.019
    """
    try:
        return _LIMITS[livestock]
    except KeyError:
        known = ", ".join(_LIMITS)
        raise ModelDomainError(
            f"livestock '{livestock}' is not known: write one of {known}"
        ) from None
