"""How copies of a particle are told apart after resampling, so that each is a possible world.

Law and decay are moved in logarithms; all parts of the ORP by one linear map, each only within what
its group had, so that copies go on expecting the ORP that their likes expect; water never beyond
the fullest of its group. Then the direction that readings cannot tell is drawn again, exactly.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from afterfill.inference.filter.resampling import depleted, resampled, shrunk
from afterfill.inference.filter.streams import Array, normal
from afterfill.inference.model import disturbance
from afterfill.inference.model.electrode import PH_REFERENCE, artefact_share
from afterfill.inference.model.hypotheses import UNTREATED
from afterfill.inference.model.parameters import MOVED_IN_LOGARITHMS
from afterfill.inference.model.particles import (
    ARTEFACT_MV,
    BACKGROUND_MV,
    C0_MG_L,
    COMBINED,
    DISTURBANCE_MOST_MV,
    DISTURBANCE_MV,
    FREE,
    IN_COMBINED,
    IN_FREE,
    NEUTRALISER,
    PEAK,
    PH_SLOPE_MV,
    RESPONSE_MV,
    TAP_Z,
    Particles,
)

_SHOWN = 0.2  # of a disturbance or artefact: less cannot be moved by what shows
_NOTHING_MG_L = 1e-4  # stands for zero where logarithms are taken
_NO_SURPLUS_MG_L = 1e-3  # neutraliser takes a fixed amount, and so breaks the ridge
_WATERS = [FREE, COMBINED, PEAK]


@dataclass(frozen=True, slots=True)
class Ridge:
    """The direction that readings cannot tell: twice the chlorine at a probe of twice the C0 shows
    the same ORP at every moment, because the law knows C / C0 only and demand is of first order.
    `tap_sigma`: standard deviation of the logarithm of the tap's chlorine; `c0_mean`, `c0_sd`: of
    the natural logarithm of C0 [mg/L]."""

    tap_sigma: float
    c0_mean: float
    c0_sd: float


def refreshed(
    particles: Particles, at_s: float, ph: float | None, ridge: Ridge | None = None
) -> Particles:
    """The particles at `at_s` [s] with each depleted group resampled and moved; the same when none
    is. `ridge`: where the tap's strength may be drawn again."""
    groups = particles.groups
    these = depleted(particles.weights, groups)
    if not these:
        return particles
    index, weights = resampled(particles.weights, groups, these)
    columns = np.concatenate([np.arange(groups[n].start, groups[n].stop) for n in these])
    taken = index[columns]
    copies = Particles(
        particles.parameters[:, taken], particles.state[:, taken], weights[columns],
        tuple(particles.sizes[n] for n in these),
    )  # fmt: skip
    copies = _moved(copies, 0.0 if ph is None else ph - PH_REFERENCE, at_s)
    for rows, number in zip(copies.groups, these, strict=True):
        if ridge is not None and number in UNTREATED:
            copies = along_ridge(copies, ridge, at_s, rows)
    parameters, state = particles.parameters.copy(), particles.state.copy()
    parameters[:, columns], state[:, columns] = copies.parameters, copies.state
    return Particles(parameters, state, weights, particles.sizes)


def _moved(copies: Particles, ph_off: float, at_s: float) -> Particles:
    groups, theta = copies.groups, copies.parameters.copy()
    theta[MOVED_IN_LOGARITHMS] = np.exp(shrunk(np.log(theta[MOVED_IN_LOGARITHMS]), groups))
    response, background, disturbed, artefact = _moved_parts(copies, at_s, ph_off)
    theta[DISTURBANCE_MV], theta[ARTEFACT_MV] = disturbed, artefact
    state = copies.state.copy()
    state[RESPONSE_MV], state[BACKGROUND_MV] = response, background
    state[_WATERS] = _moved_waters(copies)
    return Particles(theta, state, copies.weights, copies.sizes)


def _moved_parts(
    particles: Particles, at_s: float, ph_off: float
) -> tuple[Array, Array, Array, Array]:
    """Response, background, disturbance and artefact [mV], moved by one linear map. A copy of which
    a part would leave its group's range, or what such a disturbance does, keeps them all. So a
    background known to a millivolt does not wander off to where refuted readings are. What hardly
    shows of a disturbance or artefact stays: copies then differ by a little more."""
    theta, state, groups = particles.parameters, particles.state, particles.groups
    by_ph = theta[PH_SLOPE_MV] * ph_off
    shares = disturbance.share(theta, at_s), artefact_share(particles)
    parts = np.array(
        [
            state[RESPONSE_MV],
            state[BACKGROUND_MV] + by_ph,
            theta[DISTURBANCE_MV] * shares[0],
            theta[ARTEFACT_MV] * shares[1],
        ]
    )
    moved = shrunk(parts, groups)
    height = _height(moved[2], shares[0], theta[DISTURBANCE_MV])
    fits = _in_range(moved, parts, groups) & (np.abs(height) <= theta[DISTURBANCE_MOST_MV])
    response, background, disturbed, artefact = np.where(fits, moved, parts)
    return (
        response,
        background - by_ph,
        _height(disturbed, shares[0], theta[DISTURBANCE_MV]),
        _height(artefact, shares[1], theta[ARTEFACT_MV]),
    )


def _height(part: Array, share: Array, before: Array) -> Array:
    """The height [mV] of which `share` shows as `part`; as before where hardly any of it shows."""
    return np.where(share > _SHOWN, part / np.maximum(share, _SHOWN), before)


def _in_range(moved: Array, before: Array, groups: Sequence[slice]) -> NDArray[np.bool_]:
    """Where all parts of a copy, arrays of shape (4, n), are within what its group's were."""
    fits = np.ones(moved.shape[1], dtype=np.bool_)
    for rows in groups:
        low, high = (f(before[:, rows], axis=1, keepdims=True) for f in (np.min, np.max))
        fits[rows] = np.all((moved[:, rows] >= low) & (moved[:, rows] <= high), axis=0)
    return fits


def _moved_waters(particles: Particles) -> Array:
    """Free, combined and peak, shape (3, n): no copy gets more than the fullest of its group had,
    since there was no more water."""
    before, groups = particles.state[_WATERS], particles.groups
    after = np.exp(shrunk(np.log(before + _NOTHING_MG_L), groups)) - _NOTHING_MG_L
    for rows in groups:
        most = np.max(before[:, rows], axis=1, keepdims=True)
        after[:, rows] = np.clip(after[:, rows], 0.0, most)
        fullest = max(float(np.max(before[0, rows] + before[1, rows])), _NOTHING_MG_L)
        after[:2, rows] /= np.maximum((after[0, rows] + after[1, rows]) / fullest, 1.0)
    after[2] = np.maximum(after[2], after[0] + after[1])
    return np.asarray(after)


def along_ridge(particles: Particles, ridge: Ridge, at_s: float, rows: slice) -> Particles:
    """The particles with the tap of those in `rows` drawn again along the ridge, and C0 with it (an
    exact Gibbs step, Geman & Geman 1984; from memory); what ammonia has bound by now is scaled with
    the rest. Without it a few survivors, chosen for when they began to pour, would decide how
    strong the tap was. `at_s` [s] turns the stream, so that no draw is met twice."""
    theta, state = particles.parameters.copy(), particles.state.copy()
    old_z, size = theta[TAP_Z, rows], rows.stop - rows.start
    z = np.roll(normal(size, "ridge"), int(at_s))
    new_z = _redrawn(old_z, theta[C0_MG_L, rows], ridge, z)
    new_z = np.where(state[NEUTRALISER, rows] > _NO_SURPLUS_MG_L, old_z, new_z)
    times = np.exp(ridge.tap_sigma * (new_z - old_z))
    theta[TAP_Z, rows] = new_z
    for row in (C0_MG_L, IN_FREE, IN_COMBINED):
        theta[row, rows] *= times
    for row in _WATERS:
        state[row, rows] *= times
    return Particles(theta, state, particles.weights, particles.sizes)


def _redrawn(tap_z: Array, c0_mg_l: Array, ridge: Ridge, z: Array) -> Array:
    """Scores of the tap, given the ratio of tap to C0: the product of two normal priors."""
    sigma, of_c0 = ridge.tap_sigma, ridge.c0_sd**2
    ratio = sigma * tap_z - np.log(c0_mg_l)
    precision = 1.0 + sigma * sigma / of_c0
    mean = sigma * (ratio + ridge.c0_mean) / of_c0 / precision
    return np.asarray(mean + z / math.sqrt(precision))
