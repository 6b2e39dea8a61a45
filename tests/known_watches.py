"""Watches for tests: over a few particles whose truth is known."""

from dataclasses import replace
from typing import Any

import numpy as np

from afterfill.inference.filter.streams import Array
from afterfill.inference.model.hypotheses import HYPOTHESES
from afterfill.inference.model.particles import (
    BACKGROUND_MV,
    BACKGROUND_VAR,
    COMBINED,
    FREE,
    NEUTRALISER,
    PEAK,
    Particles,
)
from afterfill.inference.monitor.watch import Seen, Watch
from afterfill.inference.setup import Pour, Water
from particle_sets import still

EACH = 2  # particles of a hypothesis: so few are never resampled
N = EACH * len(HYPOTHESES)
ZERO_S = 1e6
LIMIT_MG_L = 0.02
UNSEEN = Seen(None, None, None, 0.6, 0.0, 1.0)


def several(parameters: dict[int, Any] | None = None, **state: Any) -> Particles:
    """Particles in which nothing happens but what is said, their background known to 10 mV."""
    rows = {"free": FREE, "combined": COMBINED, "peak": PEAK, "neutraliser": NEUTRALISER}
    levels = {rows[name]: np.zeros(N) + value for name, value in state.items()}
    known = {BACKGROUND_MV: np.full(N, 300.0), BACKGROUND_VAR: np.full(N, 100.0), **levels}
    theta = {row: np.zeros(N) + value for row, value in (parameters or {}).items()}
    return still(N, (EACH,) * len(HYPOTHESES)).with_rows(theta, known)


def watch_over(particles: Particles | None = None, **known: Any) -> Watch:
    """A watch ten minutes after the zero, when all the water has long been in."""
    fresh = Watch(
        Pour(ZERO_S, announced=True, water=Water()), ZERO_S, ZERO_S + 600.0,
        several() if particles is None else particles, LIMIT_MG_L, None, None, ZERO_S, ZERO_S,
    )  # fmt: skip
    return replace(fresh, **known)


def in_pairs(first: float, second: float = 0.0) -> Array:
    """For the particles of each hypothesis."""
    return np.tile([first, second], len(HYPOTHESES))
