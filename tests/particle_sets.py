"""Particle sets for tests: drawn from the prior of one refill, and moved by hand."""

import numpy as np
from numpy.typing import NDArray

from afterfill.inference.calibration.learnt import Learnt
from afterfill.inference.model.hypotheses import SIZES, N, index_of
from afterfill.inference.model.initial import drawn_particles
from afterfill.inference.model.parameters import Start
from afterfill.inference.model.particles import (
    ANSWER,
    B_MV,
    C0_MG_L,
    DISTURBANCE_FALL_S,
    DISTURBANCE_RISE_S,
    FALL_S,
    PARAMETER_ROWS,
    POUR_S,
    RISE_S,
    START_S,
    STATE_ROWS,
    Particles,
    groups_of,
)
from afterfill.inference.model.transition import predicted
from afterfill.inference.setup import Pour, Setup, Water

WATER = Water("chloramine", 2.0, 3.0)
SETUP = Setup("t", 100.0, 0.011, WATER, mg_cl2_per_ml=40.0)


def announced(**said: float) -> Pour:
    """Water that was said to be poured."""
    return Pour(0.0, announced=True, water=WATER, **said)


def suspected(water: Water = WATER) -> Pour:
    """Water that the readings suggest."""
    return Pour(0.0, announced=False, water=water)


def start_of(pour: Pour, setup: Setup = SETUP, ph: float = 7.5) -> Start:
    """What is known when the watch over `pour` begins, at a tank of 25 degrees C."""
    return Start(setup, pour, Learnt(), 25.0, ph, disturbed=False)


def particles_of(pour: Pour, setup: Setup = SETUP, ph: float = 7.5) -> Particles:
    """Particles before any reading; the background is known to a millivolt."""
    return drawn_particles(start_of(pour, setup, ph), 300.0, 1.0)


GROUPS = groups_of(SIZES)


def rows_of(name: str) -> slice:
    """Where the particles of a hypothesis stand."""
    return GROUPS[index_of(name)]


def of(name: str) -> NDArray[np.bool_]:
    """Which particles belong to a hypothesis."""
    mask = np.zeros(N, dtype=np.bool_)
    mask[rows_of(name)] = True
    return mask


def run(particles: Particles, hours: float, step_s: float = 20.0) -> Particles:
    """From ten minutes before the pour, since its beginning is not known to the second."""
    for number in range(-int(600 / step_s), int(hours * 3600 / step_s)):
        particles = predicted(particles, number * step_s, (number + 1) * step_s)
    return particles


def pulled(particles: Particles, log_likelihood: NDArray[np.float64]) -> Particles:
    """The particles weighed by something a test makes up."""
    from afterfill.inference.filter.resampling import reweighted

    return particles.with_weights(reweighted(particles.weights, log_likelihood))


def still(n: int, sizes: tuple[int, ...] | None = None) -> Particles:
    """`n` particles alike in which nothing happens: an empty tank and a pour that never begins."""
    alike = Particles(
        np.zeros((PARAMETER_ROWS, n)), np.zeros((STATE_ROWS, n)), np.full(n, 1.0 / n), sizes or (n,)
    )
    level = np.ones(n)
    theta = dict.fromkeys(
        (ANSWER, B_MV, C0_MG_L, RISE_S, FALL_S, DISTURBANCE_RISE_S, DISTURBANCE_FALL_S, POUR_S),
        level,
    )
    return alike.with_rows({**theta, START_S: 1e9 * level})
