"""Plans as JSON: field names of the plan, intervals as q05, q50, q95."""

from dataclasses import fields, is_dataclass
from typing import Any

from afterfill.chemistry.standing import Interval
from afterfill.cli.plan.inputs import Known
from afterfill.cli.times import present_s
from afterfill.wire import rfc3339

_DIGITS = 6


def head(kind: str, known: Known) -> dict[str, Any]:
    """What every plan begins with."""
    return {"kind": kind, "time": rfc3339(present_s()), "tank": known.name}


def foot(known: Known) -> dict[str, Any]:
    """What every plan ends with: what it is held against and was worked out from."""
    stock = None if known.stock is None else known.stock.wire()
    return {"limits": plain(known.bounds), "used": plain(known.used), "bottle": stock}


def plain(value: Any) -> Any:  # noqa: ANN401 - any part of a plan
    """A part of a plan as JSON values.

    >>> plain(Interval(0.0, 0.5, 1 / 3))
    {'q05': 0.0, 'q50': 0.5, 'q95': 0.333333}
    """
    if isinstance(value, Interval):
        return {"q05": plain(value.low), "q50": plain(value.middle), "q95": plain(value.high)}
    if is_dataclass(value):
        return {f.name: plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, tuple):
        return [plain(item) for item in value]
    return float(f"{value:.{_DIGITS}g}") if isinstance(value, float) else value
