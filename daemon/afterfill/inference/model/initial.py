"""Initialisation: particles drawn from the prior, given what was said of the pour."""

import math

import numpy as np

from afterfill.inference.filter.streams import Array, uniform
from afterfill.inference.model.hypotheses import HYPOTHESES, prior_weights
from afterfill.inference.model.parameters import Start, from_prior
from afterfill.inference.model.particles import (
    BACKGROUND_MV,
    BACKGROUND_VAR,
    FRACTION,
    IN_C,
    NEUTRALISER,
    STATE_ROWS,
    Particles,
)

_FELT_K, _FELT_TIMES, _FELT_MOST_K = 0.4, 7.0, 12.0  # more may still come; our judgement
_SOURCE_C = (3.0, 35.0)  # of cold and mixed taps: common practice, no source


def drawn_particles(start: Start, background_mv: float, background_var: float) -> Particles:
    """Particles of every hypothesis before any reading of the episode. `background_*`: ORP at the
    reference pH [mV, mV^2] as known before the pour."""
    sizes = tuple(h.size * start.setup.particles for h in HYPOTHESES)
    sized = list(zip(HYPOTHESES, sizes, strict=True))
    parameters = [h.shaped(start, from_prior(start, n)) for h, n in sized]
    surplus = [h.neutraliser_mg_l(start, n) for h, n in sized]
    state = np.zeros((STATE_ROWS, sum(sizes)))
    state[BACKGROUND_MV], state[BACKGROUND_VAR] = background_mv, background_var
    state[NEUTRALISER] = np.concatenate(surplus)
    weights = prior_weights(start, sizes)
    return Particles(np.concatenate(parameters, axis=1), state, weights, sizes)


def as_cold_as_felt(
    parameters: Array, tank_c: float, step_c: float, *, source_known: bool = False
) -> Array:
    """Parameters of which half pour what has moved the tank from `tank_c` [degrees C] by `step_c`
    [K] already, or some times as much: few of those drawn at large could. Where the source's
    temperature is known, only the share poured follows."""
    if abs(step_c) < _FELT_K:
        return parameters
    n, fraction, in_c = parameters.shape[1], parameters[FRACTION], parameters[IN_C]
    most = math.log(min(max(_FELT_MOST_K / abs(step_c), 1.2), _FELT_TIMES))
    full_c = step_c * np.exp(most * uniform(n, "felt size"))
    if not source_known:
        in_c = np.clip(tank_c + full_c / np.maximum(fraction, 1e-3), *_SOURCE_C)
    share = full_c / np.where(in_c == tank_c, step_c, in_c - tank_c)
    felt = (uniform(n, "felt") < 0.5) & (fraction > 0.0)
    felt &= share > 0.0  # water that is colder than the tank has not warmed it
    after = parameters.copy()
    after[FRACTION] = np.where(felt, np.minimum(share, 1.0), fraction)
    after[IN_C] = np.where(felt, in_c, parameters[IN_C])
    return after
