"""One point as a line of the line protocol (its form: the database's own reference, from memory;
checked in the tests against a real engine)."""

import math
from collections.abc import Mapping

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
    shown = [f"{name}={_shown(value)}" for name, value in fields.items() if _known(value)]
    if not shown:
        return None
    named = [f",{name}={_tag(value)}" for name, value in sorted(tags.items()) if value]
    return f"{measurement}{''.join(named)} {','.join(shown)} {time_ns}"


def _known(value: FieldValue) -> bool:
    return value is not None and not (isinstance(value, float) and not math.isfinite(value))


def _tag(value: str) -> str:
    if value.endswith("\\"):  # it would escape the comma or space that follows
        value = f"{value[:-1]}/"
    return value.translate(_TAG_ESCAPES)


def _shown(value: FieldValue) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{value.translate(_TEXT_ESCAPES)}"'
    return f"{value}i" if isinstance(value, int) else repr(value)
