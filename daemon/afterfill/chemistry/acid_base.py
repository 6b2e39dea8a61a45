"""Which share of free chlorine is HOCl and which share of ammonia is the toxic NH3.

pH is what a meter shows, minus the log of the hydrogen-ion activity; the shares are of
concentrations, so one activity coefficient, that of the ion of the pair, enters each.
"""

from typing import overload

from afterfill.chemistry.constants import (
    DAVIES_B,
    DEBYE_HUECKEL,
    HOCL_PK,
    KELVIN,
    NH4_PK,
    WATER_PERMITTIVITY,
)
from afterfill.chemistry.domain import (
    FRESH_IONIC_STRENGTH,
    LIQUID_WATER_C,
    PH,
    Array,
    within,
)

_HOCL_RANGE_C = (0.0, 35.0)
_HOCL_A, _HOCL_B, _HOCL_C = HOCL_PK.values
_NH4_A, _NH4_B = NH4_PK.values
_EPS = WATER_PERMITTIVITY.values


@overload
def nh4_pk(temperature_c: float, ionic_strength: float = 0.0) -> float: ...
@overload
def nh4_pk(temperature_c: Array, ionic_strength: float | Array = 0.0) -> Array: ...
def nh4_pk(temperature_c: float | Array, ionic_strength: float | Array = 0.0) -> float | Array:
    """pK of NH4+ = H+ + NH3 for pH as activity, at 0-50 degrees C and 0-0.1 mol/L.

    Raises ModelDomainError outside these ranges. Source: constants.NH4_PK, DAVIES_B.

    >>> round(nh4_pk(25.0), 4)
    9.2464
    """
    return _nh4_pk(temperature_c, ionic_strength)


@overload
def hocl_fraction(ph: float, temperature_c: float, ionic_strength: float = 0.0) -> float: ...
@overload
def hocl_fraction(
    ph: Array, temperature_c: float | Array, ionic_strength: float | Array = 0.0
) -> Array: ...
@overload
def hocl_fraction(
    ph: float, temperature_c: Array, ionic_strength: float | Array = 0.0
) -> Array: ...
def hocl_fraction(
    ph: float | Array, temperature_c: float | Array, ionic_strength: float | Array = 0.0
) -> float | Array:
    """Share of free chlorine that is HOCl (the rest is OCl-), 0-1.

    pH 0-14, 0-35 degrees C, ionic strength [mol/L] 0-0.1. Raises ModelDomainError outside.

    >>> round(hocl_fraction(7.5, 25.0), 4)
    0.5211
    """
    within("pH", ph, *PH)
    share: float | Array = 1.0 / (1.0 + 10.0 ** (ph - _hocl_pk(temperature_c, ionic_strength)))
    return share


@overload
def nh3_fraction(ph: float, temperature_c: float, ionic_strength: float = 0.0) -> float: ...
@overload
def nh3_fraction(
    ph: Array, temperature_c: float | Array, ionic_strength: float | Array = 0.0
) -> Array: ...
@overload
def nh3_fraction(ph: float, temperature_c: Array, ionic_strength: float | Array = 0.0) -> Array: ...
def nh3_fraction(
    ph: float | Array, temperature_c: float | Array, ionic_strength: float | Array = 0.0
) -> float | Array:
    """Share of total ammonia that is un-ionised NH3 (the rest is NH4+), 0-1.

    pH 0-14, 0-50 degrees C, ionic strength [mol/L] 0-0.1. Raises ModelDomainError outside. Sea
    water is outside: its ions pair.

    >>> round(nh3_fraction(8.0, 25.0), 5)
    0.05366
    """
    within("pH", ph, *PH)
    share: float | Array = 1.0 / (1.0 + 10.0 ** (_nh4_pk(temperature_c, ionic_strength) - ph))
    return share


def debye_hueckel_a(temperature_c: float | Array) -> float | Array:
    """Debye-Hueckel slope A [L^0.5 mol^-0.5] of water at 0-50 degrees C (unchecked here).

    Source: constants.DEBYE_HUECKEL, WATER_PERMITTIVITY.

    >>> round(debye_hueckel_a(25.0), 3)
    0.511
    """
    permittivity = water_permittivity(temperature_c)
    slope: float | Array = DEBYE_HUECKEL.value * (permittivity * (temperature_c + KELVIN)) ** -1.5
    return slope


def water_permittivity(temperature_c: float | Array) -> float | Array:
    """Relative permittivity of water at 0-50 degrees C (unchecked here).

    Source: constants.WATER_PERMITTIVITY.

    >>> round(water_permittivity(25.0), 1)
    78.3
    """
    t = temperature_c
    return _EPS[0] + t * (_EPS[1] + t * (_EPS[2] + t * _EPS[3]))


def minus_log_gamma(temperature_c: float | Array, ionic_strength: float | Array) -> float | Array:
    """-log10 of the activity coefficient of a singly charged ion (Davies), 0-0.1 mol/L.

    Raises ModelDomainError outside. An ion of charge z has z^2 times as much.

    >>> round(minus_log_gamma(25.0, 0.01), 4)
    0.045
    """
    if isinstance(ionic_strength, float) and ionic_strength == 0.0:
        return 0.0
    within("ionic strength", ionic_strength, *FRESH_IONIC_STRENGTH, "mol/L")
    root = ionic_strength**0.5
    davies = root / (1.0 + root) - DAVIES_B.value * ionic_strength
    gamma: float | Array = debye_hueckel_a(temperature_c) * davies
    return gamma


def _hocl_pk(temperature_c: float | Array, ionic_strength: float | Array) -> float | Array:
    within("temperature", temperature_c, *_HOCL_RANGE_C, "°C")
    kelvin = temperature_c + KELVIN
    pk = _HOCL_A / kelvin + _HOCL_B + _HOCL_C * kelvin
    return pk - minus_log_gamma(temperature_c, ionic_strength)


def _nh4_pk(temperature_c: float | Array, ionic_strength: float | Array) -> float | Array:
    within("temperature", temperature_c, *LIQUID_WATER_C, "°C")
    pk = _NH4_A + _NH4_B / (temperature_c + KELVIN)
    return pk + minus_log_gamma(temperature_c, ionic_strength)
