"""The limits a tank starts with, by the livestock it holds, each with where it comes from."""

from dataclasses import dataclass

from afterfill.chemistry.constants import NH3, Constant, N
from afterfill.chemistry.constants_fish import (
    CCME_UNIONISED,
    CHLORINE_ACUTE,
    CHLORINE_CHRONIC,
    EIFAC_UNIONISED,
)
from afterfill.errors import ModelDomainError

_PRACTICE = "common practice, no source"


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


def _upper(constant: Constant, factor: float = 1.0) -> Limit:
    return Limit(constant.value * factor, f"{constant.source} ({constant.status})")


_AS_N = N.value / NH3.value
_ACUTE, _CHRONIC = _upper(CHLORINE_ACUTE), _upper(CHLORINE_CHRONIC)
_CCME_AMMONIA, _EIFAC_AMMONIA = _upper(CCME_UNIONISED, _AS_N), _upper(EIFAC_UNIONISED, _AS_N)

_LIMITS: dict[str, Limits] = {
    "salmonid": Limits(
        _CHRONIC,
        _CCME_AMMONIA,
        Span(6.5, 8.5, _PRACTICE),
        Span(4.0, 18.0, _PRACTICE),
    ),
    "warmwater": Limits(
        _ACUTE,
        _EIFAC_AMMONIA,
        Span(6.0, 8.8, _PRACTICE),
        Span(18.0, 30.0, _PRACTICE),
    ),
    "sensitive": Limits(
        _CHRONIC,
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
