"""The state transition: how the water of each particle changes over one interval."""

import math

import numpy as np

from afterfill.chemistry.chloramine_binding import binding_rate, bound_mg_l
from afterfill.inference.filter.streams import Array
from afterfill.inference.model import priors
from afterfill.inference.model.particles import (
    CAPACITY,
    COMBINED,
    FRACTION,
    FREE,
    IN_COMBINED,
    IN_FREE,
    IN_NEUTRALISER,
    K_COMBINED_PER_S,
    K_FREE_PER_S,
    NEUTRALISER,
    PEAK,
    POUR_S,
    POURED,
    START_S,
    Particles,
)

# Where pH or temperature is not known; at pH 6.5 it is seven times less, at 8.5 a third.
USUAL_BINDING = binding_rate(7.5, 25.0)


def predicted(
    particles: Particles,
    from_s: float,
    to_s: float,
    *,
    pouring: bool = True,
    binding: float = USUAL_BINDING,
) -> Particles:
    """The particles' water after the interval from `from_s` to `to_s` [s after the episode's zero];
    `pouring` false when every particle has its water in; `binding`: how fast ammonia binds free
    chlorine [L/(mg s)].

    Order: what is poured is mixed in; neutraliser meets chlorine; ammonia binds free chlorine;
    what is left decays at first order. The peak is taken before the decay.
    """
    step_s, theta, state = to_s - from_s, particles.parameters, particles.state.copy()
    if pouring:
        inflow = poured_in(particles, from_s, to_s)
        for row, incoming in (
            (FREE, IN_FREE), (COMBINED, IN_COMBINED), (NEUTRALISER, IN_NEUTRALISER),
        ):  # fmt: skip
            state[row] += inflow * (theta[incoming] - state[row])
        state[POURED] += inflow
    _neutralise(state, step_s)
    bound = bound_mg_l(state[FREE], state[CAPACITY], binding, step_s)
    state[FREE] -= bound
    state[COMBINED] += bound
    state[CAPACITY] -= bound
    np.maximum(state[PEAK], state[FREE] + state[COMBINED], out=state[PEAK])
    state[FREE] *= np.exp(-step_s * theta[K_FREE_PER_S])
    state[COMBINED] *= np.exp(-step_s * theta[K_COMBINED_PER_S])
    state[NEUTRALISER] *= math.exp(-priors.K_SURPLUS_PER_H / 3600.0 * step_s)
    return particles.with_state(state)


def poured_in(particles: Particles, from_s: float, to_s: float) -> Array:
    """Share of the full volume that came in during the interval, shape (n,)."""
    theta = particles.parameters
    begin = np.maximum(theta[START_S], from_s)
    end = np.minimum(theta[START_S] + theta[POUR_S], to_s)
    return np.asarray(theta[FRACTION] * np.maximum(end - begin, 0.0) / theta[POUR_S])


def _neutralise(state: Array, step_s: float) -> None:
    """Free chlorine meets neutraliser at once, combined within minutes; in place."""
    from_free = np.minimum(state[FREE], state[NEUTRALISER])
    state[FREE] -= from_free
    state[NEUTRALISER] -= from_free
    pace = -math.expm1(-step_s / (60.0 * priors.NEUTRALISED_MIN))
    from_combined = np.minimum(state[COMBINED], state[NEUTRALISER]) * pace
    state[COMBINED] -= from_combined
    state[NEUTRALISER] -= from_combined
