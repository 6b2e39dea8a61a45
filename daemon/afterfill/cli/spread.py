"""How an interval is written."""

from afterfill.chemistry.standing import Interval
from afterfill.records import Quantiles


def spread(of: Interval | Quantiles, *, digits: int = 2) -> str:
    """The middle, and from 5 to 95 %; `digits` of the middle.

    >>> spread(Quantiles(0.05, 0.1234, 0.4), digits=3)
    '0.123 (0.05 to 0.4)'
    """
    low, middle, high = of if isinstance(of, Quantiles) else (of.low, of.middle, of.high)
    return f"{middle:.{digits}g} ({low:.2g} to {high:.2g})"
