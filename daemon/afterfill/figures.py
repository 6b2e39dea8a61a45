"""Figures as people read them: a value, an interval, a length of time."""

import math

from afterfill.records import Quantiles


def span_words(seconds: float) -> str:
    """``25 min``, ``3.5 h``, ``2.0 days``."""
    if seconds < 7200.0:
        return f"{max(seconds, 0.0) / 60.0:.0f} min"
    return f"{seconds / 3600.0:.1f} h" if seconds < 172_800.0 else f"{seconds / 86400.0:.1f} days"


def figure(value: float) -> str:
    """Two digits that mean something, never in powers of ten."""
    if value < 0.0005:
        return "0" if value <= 0.0 else "less than 0.0005"
    digits = max(0, 1 - math.floor(math.log10(value)))
    return f"{value:.{digits}f}"


def interval(quantiles: Quantiles) -> str:
    """``0.24 (0.15 to 0.41)``."""
    return f"{figure(quantiles.q50)} ({figure(quantiles.q05)} to {figure(quantiles.q95)})"
