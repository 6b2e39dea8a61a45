"""The electrode's law: the one place that knows how an ORP answers oxidant.

ORP is a mixed potential; nothing here turns millivolts into mg/L without the tank's own background.
What is believed of the law's figures stands in `priors`; that the law itself is only a shape is
allowed for where it is read (`priors.LAW_SIGMA`, `priors.MODEL_ERROR`).
"""

import math
from typing import NamedTuple, Protocol

import numpy as np

from afterfill.inference.filter.streams import Array
from afterfill.inference.model.particles import (
    ANSWER,
    ARTEFACT_MV,
    B_MV,
    C0_MG_L,
    COMBINED,
    FALL_S,
    FREE,
    NEUTRALISER,
    RESPONSE_MV,
    RISE_S,
    W_COMBINED,
    W_OCL,
    Particles,
)

PH_REFERENCE = 7.5
_ARTEFACT_HALF_MG_L = 0.5
_LOG_STEP = 1e-4  # of a central difference


class Probe(NamedTuple):
    """What a law needs to know of one electrode, or of many (arrays): mV per decade, mg/L as Cl2
    at which it turns from linear to logarithmic, and the shares of HOCl's effect that hypochlorite
    and combined chlorine have."""

    b_mv: Array
    c0_mg_l: Array
    w_ocl: Array
    w_combined: Array


class ElectrodeLaw(Protocol):
    """How the ORP rises over its background, once the electrode has settled."""

    def __hash__(self) -> int:
        """What was worked out by a law is kept by it."""

    def response_mv(self, probe: Probe, free: Array, combined: Array, hocl: float) -> Array:
        """The rise [mV] in water with `free` and `combined` chlorine [mg/L as Cl2], of whose free
        part the share `hocl` is HOCl."""

    def needed_mg_l(self, probe: Probe, step_mv: float, hocl: float, *, combined: bool) -> Array:
        """The chlorine [mg/L as Cl2], all combined or all free, that makes a rise of `step_mv`;
        infinite where none does."""


class Logarithmic:
    """``b log10(1 + C_eff / C0)`` with ``C_eff = (h + w_OCl (1 - h)) free + w_c combined``.

    Form and ranges: our reading of James, Copeland & Lytle 2004, AWWA WQTC, and of electrode
    makers' notes (abstract read; secondary).
    """

    def response_mv(self, probe: Probe, free: Array, combined: Array, hocl: float) -> Array:
        """See ElectrodeLaw."""
        effective = free * _of_free(probe, hocl) + combined * probe.w_combined
        return np.asarray(probe.b_mv * np.log10(1.0 + effective / probe.c0_mg_l))

    def needed_mg_l(self, probe: Probe, step_mv: float, hocl: float, *, combined: bool) -> Array:
        """See ElectrodeLaw."""
        weight = probe.w_combined if combined else _of_free(probe, hocl)
        needed: Array = probe.c0_mg_l * (10.0 ** (step_mv / probe.b_mv) - 1.0) / weight
        return needed


class SaturatingCombined:
    """The same, but the part of combined chlorine levels off at `half_mg_l`: the surface holds only
    so much of it. A shape to try the filter against; our construction, no source."""

    def __init__(self, half_mg_l: float = 1.0) -> None:
        """`half_mg_l`: combined chlorine at half of its greatest effect [mg/L as Cl2], above 0."""
        self._half_mg_l = half_mg_l

    def response_mv(self, probe: Probe, free: Array, combined: Array, hocl: float) -> Array:
        """See ElectrodeLaw."""
        held = combined / (1.0 + combined / self._half_mg_l)
        effective = free * _of_free(probe, hocl) + held * probe.w_combined
        return np.asarray(probe.b_mv * np.log10(1.0 + effective / probe.c0_mg_l))

    def needed_mg_l(self, probe: Probe, step_mv: float, hocl: float, *, combined: bool) -> Array:
        """See ElectrodeLaw."""
        effective = probe.c0_mg_l * (10.0 ** (step_mv / probe.b_mv) - 1.0)
        if not combined:
            return np.asarray(effective / _of_free(probe, hocl))
        held = effective / probe.w_combined
        most = self._half_mg_l
        return np.asarray(
            np.where(held < most, held / np.maximum(1.0 - held / most, 1e-12), np.inf)
        )


LOGARITHMIC: ElectrodeLaw = Logarithmic()


def _of_free(probe: Probe, hocl: float) -> Array:
    return np.asarray(hocl + probe.w_ocl * (1.0 - hocl))


def probes_of(particles: Particles) -> Probe:
    """The electrode of each particle, as it answers now."""
    theta = particles.parameters
    weight = theta[W_COMBINED] * theta[ANSWER]
    return Probe(theta[B_MV], theta[C0_MG_L], theta[W_OCL], weight)


def lagged(particles: Particles, law: ElectrodeLaw, hocl: float, step_s: float) -> Particles:
    """The particles after their electrodes have followed the water for `step_s` [s]: up in minutes,
    down in tens of minutes (oxide memory of noble metals)."""
    theta, state = particles.parameters, particles.state
    target = law.response_mv(probes_of(particles), state[FREE], state[COMBINED], hocl)
    lag_s = np.where(target > state[RESPONSE_MV], theta[RISE_S], theta[FALL_S])
    left = (state[RESPONSE_MV] - target) * np.exp(-step_s / lag_s)
    return particles.with_rows(state={RESPONSE_MV: target + left})


def artefact_share(particles: Particles) -> Array:
    """What part of its deepest dip each particle's surplus of neutraliser makes."""
    surplus = particles.state[NEUTRALISER]
    return np.asarray(surplus / (surplus + _ARTEFACT_HALF_MG_L))


def artefact_mv(particles: Particles) -> Array:
    """By how much a surplus of neutraliser pulls the ORP down [mV], not below 0."""
    return np.asarray(particles.parameters[ARTEFACT_MV] * artefact_share(particles))


def log_step(
    law: ElectrodeLaw, log_point: Array, w_ocl: float, free: float, combined: float, hocl: float
) -> tuple[float, Array]:
    """The step [mV] at logarithms of (b, C0, w_combined), and the gradient of its logarithm with
    respect to these three, by central differences."""

    def step_mv(point: Array) -> float:
        b_mv, c0_mg_l, weight = np.exp(point)
        probe = Probe(b_mv, c0_mg_l, np.asarray(w_ocl), weight)
        return float(law.response_mv(probe, np.asarray(free), np.asarray(combined), hocl))

    gradient = np.array(
        [
            (math.log(step_mv(log_point + off)) - math.log(step_mv(log_point - off)))
            / (2.0 * _LOG_STEP)
            for off in _LOG_STEP * np.eye(3)
        ]
    )
    return step_mv(log_point), gradient
