"""Units in which keepers type and labels speak, into the units we compute in.

US gallon 3.785411784 L, imperial gallon 4.54609 L, degrees F = 32 + 9/5 degrees C: definitions
(NIST Handbook 44, appendix C, from memory).
"""

import re

from afterfill.errors import ModelDomainError

LITRES_PER_US_GALLON = 3.785411784
LITRES_PER_IMPERIAL_GALLON = 4.54609

_VOLUME = {
    "": 1.0,
    "l": 1.0,
    "litre": 1.0,
    "litres": 1.0,
    "liter": 1.0,
    "liters": 1.0,
    "ml": 1e-3,
    "gal": LITRES_PER_US_GALLON,
    "us gal": LITRES_PER_US_GALLON,
    "imp gal": LITRES_PER_IMPERIAL_GALLON,
}
_TEMPERATURE = {"": (0.0, 1.0), "c": (0.0, 1.0), "f": (32.0, 5.0 / 9.0)}
_LARGEST = 1e300  # a TOML file may hold whole numbers that no float can
_NUMBER = re.compile(r"\s*([-+]?\d+(?:[.,]\d+)?)\s*(?:°\s*)?([A-Za-z ]*?)\.?\s*$")


def litres_from(text: str | float) -> float:
    """A volume [L] from a number in litres or text such as ``30 gal`` or ``750 ml``.

    Raises ModelDomainError when the text is no volume. A gallon is the US gallon unless
    ``imp gal``.

    >>> round(litres_from("30 gal"), 3)
    113.562
    """
    value, unit = _split(text, "a volume", "25, '25 L', '30 gal' or '750 ml'")
    if unit not in _VOLUME:
        raise ModelDomainError(f"'{text}' is not a volume: write 25, '25 L', '30 gal' or '750 ml'")
    return value * _VOLUME[unit]


def celsius_from(text: str | float) -> float:
    """A temperature [degrees C] from a number in C or text such as ``78 F``.

    Raises ModelDomainError when the text is no temperature.

    >>> round(celsius_from("78 F"), 2)
    25.56
    """
    value, unit = _split(text, "a temperature", "25, '25 C' or '78 F'")
    if unit not in _TEMPERATURE:
        raise ModelDomainError(f"'{text}' is not a temperature: write 25, '25 C' or '78 F'")
    zero, scale = _TEMPERATURE[unit]
    return (value - zero) * scale


def _split(text: object, what: str, examples: str) -> tuple[float, str]:
    """A file may hold anything in this place, also a truth value, a date or a table."""
    if isinstance(text, int | float) and not isinstance(text, bool) and abs(text) <= _LARGEST:
        return float(text), ""
    match = _NUMBER.match(text) if isinstance(text, str) else None
    if match is None:
        raise ModelDomainError(f"'{text}' is not {what}: write {examples}")
    return float(match[1].replace(",", ".")), " ".join(match[2].lower().split())
