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
    """An upper limit and its source; `short`: author, year and how far it is confirmed."""

    value: float
    source: str
    short: str


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


def _upper(constant: Constant, short: str, factor: float = 1.0) -> Limit:
    source = f"{constant.source} ({constant.status})"
    return Limit(constant.value * factor, source, f"{short}, {constant.status}")


_AS_N = N.value / NH3.value
_ACUTE = _upper(CHLORINE_ACUTE, "US EPA 1984, one hour")
_CHRONIC = _upper(CHLORINE_CHRONIC, "US EPA 1984, four days")
_CCME_AMMONIA = _upper(CCME_UNIONISED, "CCME 2003", _AS_N)
_EIFAC_AMMONIA = _upper(EIFAC_UNIONISED, "EIFAC 1970", _AS_N)

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
