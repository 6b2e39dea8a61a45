"""A few particles that stand for many: what has been judged needs less memory, and fewer steps."""

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from afterfill.inference.model.particles import Particles
from afterfill.inference.monitor.watch import Watch


def met(particles: Particles, n: int) -> NDArray[np.intp]:
    """Indices of `n` particles, each as often as it weighs, the hypotheses mixed."""
    reached = np.cumsum(particles.weights)
    index = np.searchsorted(reached, reached[-1] * (np.arange(n) + 0.5) / n)
    index = np.minimum(index, reached.size - 1)
    stride = next(step for step in range(229, 229 + n) if math.gcd(step, n) == 1)
    return np.asarray(index[(np.arange(n) * stride) % n])


def thinned(watch: Watch, n: int) -> Watch:
    """The watch with `n` of its particles at most, all of one weight, and no hypotheses any more:
    what was poured has been judged, what is in the tank is still believed."""
    if watch.particles.weights.size <= n:
        return replace(watch, before=None, ridge=None)
    index = met(watch.particles, n)
    few = Particles(
        watch.particles.parameters[:, index], watch.particles.state[:, index],
        np.full(n, 1.0 / n), (n,),
    )  # fmt: skip
    return replace(watch, particles=few, before=None, ridge=None)
