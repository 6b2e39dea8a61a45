"""A particle set: each particle is one complete explanation, with its own water, probe and dose.

Static parameters and state are one array each, a row for each quantity, so that resampling is one
indexing and the algorithms of `filter/` need not know what a row means. Particles of one hypothesis
stand together; how many each hypothesis has is `sizes`.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from afterfill.inference.filter.streams import Array

# Rows of `parameters`. `FRACTION` of the full volume is poured over `POUR_S` from `START_S` (s
# after the episode's zero). `IN_*` is what the incoming water brings [mg/L as Cl2; degrees C; pH],
# `TAP_Z` how many standard deviations the tap's chlorine lies off what is known of it. Then the
# electrode (mV per decade, mg/L as Cl2, shares, mV per pH, s, s, mV at a large surplus of
# neutraliser), decay [1/s], and a disturbance that is no oxidant (height mV; begin, rise, fall s;
# the greatest height that such a one has, mV). `ANSWER` is the share of its law's answer to
# combined chlorine that the electrode gives for now.
(
    FRACTION, START_S, POUR_S, IN_FREE, IN_COMBINED, IN_NEUTRALISER, IN_C, IN_PH, TAP_Z,
    B_MV, C0_MG_L, W_OCL, W_COMBINED, PH_SLOPE_MV, RISE_S, FALL_S, ARTEFACT_MV,
    K_FREE_PER_S, K_COMBINED_PER_S,
    DISTURBANCE_MV, DISTURBANCE_START_S, DISTURBANCE_RISE_S, DISTURBANCE_FALL_S,
    DISTURBANCE_MOST_MV, ANSWER,
) = range(25)  # fmt: skip
PARAMETER_ROWS = 25

# Rows of `state` [mg/L as Cl2, share, mV, mV^2]: `CAPACITY` is the free chlorine that the tank's
# ammonia can still bind, `POURED` the share that is in, `RESPONSE_MV` the lagged electrode,
# `BACKGROUND_*` the ORP without oxidant at the reference pH as this particle knows it, `PEAK` the
# highest residual so far.
(
    FREE, COMBINED, NEUTRALISER, CAPACITY, POURED, RESPONSE_MV, BACKGROUND_MV, BACKGROUND_VAR, PEAK,
) = range(9)  # fmt: skip
STATE_ROWS = 9


@dataclass(frozen=True, slots=True, eq=False)
class Particles:
    """`parameters` (25, n) and `state` (9, n) as the rows above say; `weights` (n,) add up to one;
    `sizes`: how many particles each hypothesis has, in the order of the registry. A set of
    particles equals itself alone, so what was worked out of it can be kept."""

    parameters: Array
    state: Array
    weights: Array
    sizes: tuple[int, ...]

    @property
    def residual(self) -> Array:
        """Total residual oxidant of each particle [mg/L as Cl2]."""
        return np.asarray(self.state[FREE] + self.state[COMBINED])

    @property
    def groups(self) -> tuple[slice, ...]:
        """The particles of each hypothesis."""
        return groups_of(self.sizes)

    def with_weights(self, weights: Array) -> "Particles":
        """The same particles, weighing otherwise."""
        return Particles(self.parameters, self.state, weights, self.sizes)

    def with_state(self, state: Array) -> "Particles":
        """The same particles in another state."""
        return Particles(self.parameters, state, self.weights, self.sizes)

    def with_rows(
        self, parameters: dict[int, Array] | None = None, state: dict[int, Array] | None = None
    ) -> "Particles":
        """A copy with these rows replaced."""
        theta, x = self.parameters, self.state
        if parameters:
            theta = _replaced(theta, parameters)
        if state:
            x = _replaced(x, state)
        return Particles(theta, x, self.weights, self.sizes)


def _replaced(rows: Array, new: dict[int, Array]) -> Array:
    copy = rows.copy()
    for row, values in new.items():
        copy[row] = values
    return copy


@lru_cache(maxsize=16)
def groups_of(sizes: tuple[int, ...]) -> tuple[slice, ...]:
    """Where the particles of each hypothesis stand."""
    ends = np.cumsum(sizes).tolist()
    return tuple(slice(end - size, end) for end, size in zip(ends, sizes, strict=True))
