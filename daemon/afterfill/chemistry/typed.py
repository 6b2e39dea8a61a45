"""Numbers as people type them: the one place that reads them, for every option, file and message.

A point or a comma is the decimal sign. A comma before exactly three digits may also part the
thousands, so `1,200` is refused with both readings; signs for thousands are never read.
"""

import re
from typing import NamedTuple

from afterfill.errors import ModelDomainError

_LARGEST = 1e300  # a TOML file may hold whole numbers that no float can
_TYPED = re.compile(
    r"\s*([-+]?(?:[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)(?:[eE][-+]?[0-9]+)?)\s*"
    r"(?:°\s*)?([A-Za-z%].*?)?\.?\s*",
)
_TWO_READINGS = re.compile(r"[-+]?[1-9][0-9]{0,2},[0-9]{3}(?![0-9])")


class Typed(NamedTuple):
    """A number and the unit written behind it, in small letters with single spaces; "": none."""

    value: float
    unit: str


def typed(text: object, what: str, examples: str) -> Typed:
    """What was typed. Raises ModelDomainError, which says that it is not `what` and shows
    `examples`, or names both readings.

    >>> typed("2,5 US gal", "a volume", "25")
    Typed(value=2.5, unit='us gal')
    """
    if isinstance(text, int | float) and not isinstance(text, bool) and abs(text) <= _LARGEST:
        return Typed(float(text), "")
    match = _TYPED.fullmatch(text) if isinstance(text, str) else None
    if match is None:
        raise ModelDomainError(f"'{text}' is not {what}: write {examples}")
    value = float(_one_reading(match[1]).replace(",", "."))
    if abs(value) > _LARGEST:
        raise ModelDomainError(f"'{text}' is not {what}: write {examples}")
    return Typed(value, " ".join((match[2] or "").lower().split()))


def number_from(text: object) -> float:
    """A number without a unit. Raises ModelDomainError when the text is none, or one of two.

    >>> number_from("0,25")
    0.25
    """
    value, unit = typed(text, "a number", "it as 1.5 or 1,5, without signs for thousands")
    if unit:
        raise ModelDomainError(f"'{text}' is not a number: leave out '{unit}'")
    return value


def number_if_text(value: object) -> object:
    """A text as `number_from` reads it; anything else stays what it is, for others to judge.

    Raises ModelDomainError.

    >>> number_if_text("7,25")
    7.25
    """
    return number_from(value) if isinstance(value, str) else value


def _one_reading(number: str) -> str:
    if _TWO_READINGS.match(number):
        small, large = float(number.replace(",", ".")), float(number.replace(",", ""))
        raise ModelDomainError(
            f"'{number}' may be {small:.10g} or {large:.10g}: write the one that is meant, "
            "with a point for decimals and no sign for thousands"
        )
    return number
