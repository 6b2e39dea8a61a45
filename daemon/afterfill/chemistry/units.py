"""Units in which keepers type and labels speak, into the units we compute in.

US gallon 3.785411784 L, imperial gallon 4.54609 L, degrees F = 32 + 9/5 degrees C: definitions
(NIST Handbook 44, appendix C, from memory).
"""

from afterfill.chemistry.typed import typed
from afterfill.errors import ModelDomainError

LITRES_PER_US_GALLON = 3.785411784
LITRES_PER_IMPERIAL_GALLON = 4.54609

_US = ("us gal", "us gallon", "us gallons", "usgal")
_IMPERIAL = ("imp gal", "imp gallon", "imp gallons", "imperial gallon", "imperial gallons")
_BARE_GALLON = ("gal", "gallon", "gallons")
_LITRE = ("l", "litre", "litres", "liter", "liters")
_MILLILITRE = ("ml", "millilitre", "millilitres", "milliliter", "milliliters")
_VOLUME = {
    **dict.fromkeys(("", *_LITRE), 1.0),
    **dict.fromkeys(_MILLILITRE, 1e-3),
    **dict.fromkeys(_US, LITRES_PER_US_GALLON),
    **dict.fromkeys(_IMPERIAL, LITRES_PER_IMPERIAL_GALLON),
}
_TEMPERATURE = {"": (0.0, 1.0), "c": (0.0, 1.0), "f": (32.0, 5.0 / 9.0)}
_VOLUMES = "25, '25 L', '30 US gal', '30 imp gal' or '750 ml'"
_TEMPERATURES = "25, '25 C' or '78 F'"


def litres_from(text: object) -> float:
    """A volume [L] from a number in litres or text such as ``30 US gal`` or ``750 ml``.

    Raises ModelDomainError when the text is no volume, and for a gallon of which it is not said
    whether it is the US or the imperial one.

    >>> round(litres_from("30 US gal"), 3)
    113.562
    """
    value, unit = typed(text, "a volume", _VOLUMES)
    if unit in _BARE_GALLON:
        raise ModelDomainError(f"'{text}' may be two volumes: {either_gallon(value)}")
    if unit not in _VOLUME:
        raise ModelDomainError(f"'{text}' is not a volume: write {_VOLUMES}")
    return value * _VOLUME[unit]


def litres_in_file(text: object) -> float:
    """As `litres_from`, for configurations: a bare ``gal`` is the US gallon, as 0.1 said.

    >>> round(litres_in_file("30 gal"), 3)
    113.562
    """
    bare = bare_gallons(text)
    return litres_from(text) if bare is None else bare * LITRES_PER_US_GALLON


def bare_gallons(text: object) -> float | None:
    """How many gallons, where it is not said which; None for all else. Raises ModelDomainError.

    >>> bare_gallons("30 gal")
    30.0
    """
    value, unit = typed(text, "a volume", _VOLUMES)
    return value if unit in _BARE_GALLON else None


def gallon_of(text: object) -> str:
    """Which gallon a volume is written in, ``US gal`` or ``imp gal``; empty for all else. Raises
    ModelDomainError when it is no number.

    >>> gallon_of("30 US gal"), gallon_of("30 L")
    ('US gal', '')
    """
    _, unit = typed(text, "a volume", _VOLUMES)
    if unit in _US:
        return "US gal"
    return "imp gal" if unit in _IMPERIAL else ""


def either_gallon(gallons: float) -> str:
    """What to write for one gallon or the other, as the rest of a sentence.

    >>> either_gallon(30.0)
    "write '30 US gal' (113.6 L) or '30 imp gal' (136.4 L)"
    """
    us, imperial = gallons * LITRES_PER_US_GALLON, gallons * LITRES_PER_IMPERIAL_GALLON
    return (
        f"write '{gallons:.10g} US gal' ({us:.4g} L) or '{gallons:.10g} imp gal' ({imperial:.4g} L)"
    )


def celsius_from(text: object) -> float:
    """A temperature [degrees C] from a number in C or text such as ``78 F``.

    Raises ModelDomainError when the text is no temperature.

    >>> round(celsius_from("78 F"), 2)
    25.56
    """
    value, unit = typed(text, "a temperature", _TEMPERATURES)
    if unit not in _TEMPERATURE:
        raise ModelDomainError(f"'{text}' is not a temperature: write {_TEMPERATURES}")
    zero, scale = _TEMPERATURE[unit]
    return (value - zero) * scale


def fahrenheit(celsius: float) -> float:
    """A temperature [degrees F] from one in degrees C.

    >>> fahrenheit(25.0)
    77.0
    """
    return 32.0 + 1.8 * celsius
