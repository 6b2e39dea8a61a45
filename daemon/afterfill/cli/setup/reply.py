"""What a probe head said, as numbers, and as a pattern that finds them again; pure."""

import re
from collections.abc import Mapping, Sequence

from afterfill.ports import POSSIBLE
from afterfill.records import Quantity

_NUMBER = re.compile(r"[+-]?(?:\d+\.\d+|\d+)")
# How heads label their figures in a line: common practice, no source.
_LABELS: Mapping[Quantity, re.Pattern[str]] = {
    "orp": re.compile(r"(orp|redox|eh|mv)\W*$", re.IGNORECASE),
    "ph": re.compile(r"(?<![a-z])ph\W*$", re.IGNORECASE),
    "temperature": re.compile(r"(temp\w*|tc|(?<![a-z])t|°c)\W*$", re.IGNORECASE),
}
# Where no label tells: what each usually is in a fish tank; common practice, no source.
_USUAL: Mapping[Quantity, tuple[float, float]] = {
    "orp": (100.0, 700.0), "ph": (5.5, 9.0), "temperature": (10.0, 35.0)
}  # fmt: skip


def numbers_in(line: str) -> list[re.Match[str]]:
    """The numbers in `line`, in order. A digit that belongs to a word (`T1`) is none."""
    return [m for m in _NUMBER.finditer(line) if not line[: m.start()][-1:].isalpha()]


def likely(line: str, numbers: Sequence[re.Match[str]], quantity: Quantity) -> int:
    """Which of `numbers` is probably `quantity`, the first is 1; 0 for none: by the label before
    it, else by what a tank usually shows where only one fits."""
    for place, number in enumerate(numbers, 1):
        if _LABELS[quantity].search(line[: number.start()]) and _can_be(number[0], quantity):
            return place
    low, high = _USUAL[quantity]
    fits = [place for place, it in enumerate(numbers, 1) if low <= float(it[0]) <= high]
    return fits[0] if len(fits) == 1 else 0


def _can_be(number: str, quantity: Quantity) -> bool:
    low, high = POSSIBLE[quantity]
    return low <= float(number) <= high


def pattern_of(line: str, numbers: Sequence[re.Match[str]], places: Mapping[Quantity, int]) -> str:
    """A regular expression for the whole of such a line, with a group for each quantity; `places`:
    which of `numbers` it is, the first is 1.

    >>> line = "ORP=412.3;PH=7.21"
    >>> pattern_of(line, numbers_in(line), {"orp": 1})
    'ORP=(?P<orp>[+-]?\\\\d+(?:\\\\.\\\\d+)?);PH=[+-]?\\\\d+(?:\\\\.\\\\d+)?'
    """
    named = {place: quantity for quantity, place in places.items()}
    parts, end = [], 0
    for place, number in enumerate(numbers, 1):
        parts.append(_literal(line[end : number.start()]))
        group = r"[+-]?\d+(?:\.\d+)?"
        parts.append(f"(?P<{named[place]}>{group})" if place in named else group)
        end = number.end()
    return "".join([*parts, _literal(line[end:])])


def _literal(text: str) -> str:
    """Blanks may be more or fewer: heads pad their figures."""
    return re.sub(r"(?:\\[ \t])+", r"\\s*", re.escape(text))
