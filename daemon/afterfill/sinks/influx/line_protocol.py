"""One point as a line of the line protocol (its form: the database's own reference, from memory;
checked in the tests against a real engine)."""

import math
from collections.abc import Mapping
from functools import lru_cache

FieldValue = float | int | bool | str | None
_TAG_ESCAPES = str.maketrans({",": r"\,", "=": r"\=", " ": r"\ ", "\n": r"\ ", "\r": r"\ "})
_TEXT_ESCAPES = str.maketrans({"\\": r"\\", '"': r"\"", "\n": " ", "\r": " "})


def line(
    measurement: str,
    tags: Mapping[str, str],
    fields: Mapping[str, FieldValue],
    time_ns: int,
) -> str | None:
    """The line, without unknown fields and empty tags; None when no field is known.

    >>> line("reading", {"tank": "big tank"}, {"value": 312.0, "valid": True}, 7)
    'reading,tank=big\\\\ tank value=312.0,valid=true 7'
    """
    shown = [
        f"{name}={text}" for name, value in fields.items() if (text := _shown(value)) is not None
    ]
    if not shown:
        return None
    return f"{_head(measurement, tuple(tags.items()))} {','.join(shown)} {time_ns}"


@lru_cache(maxsize=1024)  # the same few thousands of times
def _head(measurement: str, tags: tuple[tuple[str, str], ...]) -> str:
    named = [f",{name}={_tag(value)}" for name, value in sorted(tags) if value]
    return f"{measurement}{''.join(named)}"


def _tag(value: str) -> str:
    if value.endswith("\\"):  # it would escape the comma or space that follows
        value = f"{value[:-1]}/"
    return value.translate(_TAG_ESCAPES)


def _shown(value: FieldValue) -> str | None:
    """None for what is not known."""
    if isinstance(value, float):  # most are
        return repr(value) if math.isfinite(value) else None
    if value is None:
        return None
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{value.translate(_TEXT_ESCAPES)}"'
    return f"{value}i"
