"""Activity coefficients of the carbonate system's ions by the extended Debye-Hueckel law."""

from typing import NamedTuple

from afterfill.chemistry.acid_base import debye_hueckel_a
from afterfill.chemistry.constants import (
    CO2_SALTING,
    DEBYE_HUECKEL_B,
    ION_SIZES,
    KELVIN,
    NEUTRAL_SALTING,
)


class Gammas(NamedTuple):
    """Activity coefficients (dimensionless) at one temperature and ionic strength."""

    h: float
    oh: float
    hco3: float
    co3: float
    ca: float
    mg: float
    cahco3: float
    mghco3: float
    co2: float
    neutral: float


_CHARGES = {"H": 1, "OH": 1, "HCO3": 1, "CO3": 2, "Ca": 2, "Mg": 2, "CaHCO3": 1, "MgHCO3": 1}
_IONS = tuple((z * z, *ION_SIZES[name].values) for name, z in _CHARGES.items())


def gammas(temperature_c: float, ionic_strength: float, permittivity: float) -> Gammas:
    """All coefficients at once; ranges are checked by the caller.

    >>> round(gammas(25.0, 0.01, 78.3).hco3, 3)
    0.905
    """
    root = ionic_strength**0.5
    a = float(debye_hueckel_a(temperature_c)) * root
    b = DEBYE_HUECKEL_B.value * (permittivity * (temperature_c + KELVIN)) ** -0.5 * root
    ions = [
        10.0 ** (-a * z2 / (1.0 + b * size) + linear * ionic_strength) for z2, size, linear in _IONS
    ]
    co2 = 10.0 ** (CO2_SALTING.value * ionic_strength)
    return Gammas._make((*ions, co2, 10.0 ** (NEUTRAL_SALTING.value * ionic_strength)))
