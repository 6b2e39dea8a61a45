"""Buffers and redox standards over temperature: what a good electrode must show in them.

The technical buffers (7.00) and the NIST buffers (6.86) are different liquids: never mix the two.
"""

from dataclasses import dataclass

from afterfill.chemistry.constants import Coefficients, Status
from afterfill.chemistry.domain import within
from afterfill.errors import ModelDomainError


@dataclass(frozen=True, slots=True)
class Table:
    """Printed values over temperature [degrees C], straight lines between them."""

    temperatures_c: tuple[float, ...]
    values: tuple[float, ...]
    source: str
    status: Status


_TO_35 = (5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0)
_TO_40 = (*_TO_35, 40.0)
_JIS = "JIS Z 8802 (the NIST scale), as reprinted by a maker of meters"
_TECHNICAL = "set of technical buffers, manual of a maker of meters"

BUFFERS: dict[str, Table] = {
    "4.00": Table(_TO_35[:6], (4.00, 4.00, 4.00, 4.00, 4.00, 4.01), _TECHNICAL, "secondary"),
    "7.00": Table(_TO_35, (7.09, 7.06, 7.04, 7.02, 7.00, 6.99, 6.99), _TECHNICAL, "secondary"),
    "10.01": Table(
        _TO_35, (10.25, 10.18, 10.12, 10.06, 10.01, 9.97, 9.93), _TECHNICAL, "secondary"
    ),
    "phosphate": Table(_TO_35, (6.95, 6.92, 6.90, 6.88, 6.86, 6.85, 6.84), _JIS, "secondary"),
    "borax": Table(_TO_35, (9.39, 9.33, 9.27, 9.22, 9.18, 9.14, 9.10), _JIS, "secondary"),
    "carbonate": Table(_TO_35, (10.25, 10.18, 10.12, 10.07, 10.02, 9.97, 9.93), _JIS, "secondary"),
}
PHTHALATE = Coefficients(
    (2073.44, -13.3270, 0.045199, -3.4846e-5),
    "pH = a/T + b + c T + d T^2, T in K, 0-40 degrees C",
    "Hetzer, Durst, Robinson & Bates 1977, J. Res. NBS 81A, abstract",
    "read",
)
SILVER_CHLORIDE_3M = Table(
    _TO_40,
    (221.0, 217.0, 214.0, 210.0, 207.0, 203.0, 200.0, 196.0),
    "Ag/AgCl in 3 mol/L KCl against the hydrogen electrode, mV, manual of a maker of probes",
    "secondary",
)
_QUINHYDRONE = "quinhydrone against Ag/AgCl of about 3.3 mol/L KCl, a maker of meters"
ORP_STANDARDS: dict[str, Table] = {
    "quinhydrone-4": Table(
        _TO_35, (274.2, 270.9, 266.8, 262.5, 257.6, 253.5, 248.6), _QUINHYDRONE, "secondary"
    ),
    "quinhydrone-6.86": Table(
        _TO_35, (111.9, 106.9, 101.0, 95.0, 89.0, 82.7, 76.2), _QUINHYDRONE, "secondary"
    ),
}
ZOBELL = Coefficients(
    (428.0, -2.2),
    "Eh [mV] = a + b (t - 25), against the hydrogen electrode",
    "handbook formula of ZoBell's solution; Nordstrom 1977 differs by up to 7 mV at 5 degrees C",
    "secondary",
)


def interpolated(what: str, table: Table, temperature_c: float) -> float:
    """Value of a printed table at a temperature within it.

    Raises ModelDomainError outside the table.

    >>> interpolated("buffer 7.00", BUFFERS["7.00"], 22.5)
    7.01
    """
    points = table.temperatures_c
    within(f"temperature for {what}", temperature_c, points[0], points[-1], "°C")
    right = next(i for i in range(1, len(points)) if temperature_c <= points[i])
    share = (temperature_c - points[right - 1]) / (points[right] - points[right - 1])
    left_value, right_value = table.values[right - 1], table.values[right]
    return round(left_value + share * (right_value - left_value), 4)


def buffer_ph(name: str, temperature_c: float) -> float:
    """pH of a buffer: technical "4.00", "7.00", "10.01" (or "4,00"); NIST "phthalate", "phosphate",
    "borax", "carbonate". 5-35 degrees C ("4.00" to 30, "phthalate" 0-40).

    Raises ModelDomainError outside or for other names.

    >>> buffer_ph("7.00", 15.0)
    7.04
    """
    name = name.replace(",", ".")
    if name == "phthalate":
        within("temperature for phthalate", temperature_c, 0.0, 40.0, "°C")
        a, b, c, d = PHTHALATE.values
        kelvin = temperature_c + 273.15
        return a / kelvin + b + c * kelvin + d * kelvin * kelvin
    if name not in BUFFERS:
        known = ", ".join((*BUFFERS, "phthalate"))
        raise ModelDomainError(f"buffer '{name}' is not known: write one of {known}")
    return interpolated(f"buffer {name}", BUFFERS[name], temperature_c)


def reference_mv(temperature_c: float) -> float:
    """Potential [mV] of Ag/AgCl in 3 mol/L KCl against the hydrogen electrode, 5-40 degrees C.

    Raises ModelDomainError outside.

    >>> reference_mv(25.0)
    207.0
    """
    return interpolated("the reference electrode", SILVER_CHLORIDE_3M, temperature_c)


def orp_standard_mv(name: str, temperature_c: float) -> float:
    """What an ORP probe must show [mV] in "zobell", "quinhydrone-4" or "quinhydrone-6.86".

    5-35 degrees C, against a silver chloride reference of 3-3.5 mol/L. Raises ModelDomainError
    outside or for other names.

    >>> round(orp_standard_mv("zobell", 25.0))
    221
    """
    if name == "zobell":
        within("temperature for zobell", temperature_c, 5.0, 35.0, "°C")
        at_25, per_degree = ZOBELL.values
        return at_25 + per_degree * (temperature_c - 25.0) - reference_mv(temperature_c)
    if name not in ORP_STANDARDS:
        known = ", ".join(("zobell", *ORP_STANDARDS))
        raise ModelDomainError(f"ORP standard '{name}' is not known: write one of {known}")
    return interpolated(name, ORP_STANDARDS[name], temperature_c)
