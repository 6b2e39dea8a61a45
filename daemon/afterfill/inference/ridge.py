"""What readings cannot tell apart: how strong the tap was, and how sensitive the probe is.

Twice the chlorine at a probe of twice the C0 shows the same ORP at every moment, because the law
knows C / C0 only and demand is of first order. Along this ridge there is nothing but the prior, so
copies of a member are drawn anew there exactly (a Gibbs step, Geman & Geman 1984; from memory),
and what is known of the tap is not lost to the luck of a few survivors.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from afterfill.inference.bank import PER_KIND, SHORT, Bank
from afterfill.inference.draws import Array, normal

_ROWS = slice(SHORT * PER_KIND, (SHORT + 1) * PER_KIND)
_COLUMN = 51  # of the fixed table of draws
_NO_SURPLUS_MG_L = 1e-3  # neutraliser takes a fixed amount, and so breaks the ridge


@dataclass(frozen=True, slots=True)
class Ridge:
    """`tap_sigma`: standard deviation of the logarithm of the tap's chlorine; `c0_mean`, `c0_sd`:
    of the natural logarithm of C0 [mg/L]."""

    tap_sigma: float
    c0_mean: float
    c0_sd: float


def moved_along(bank: Bank, ridge: Ridge, at_s: float) -> Bank:
    """The bank with the short members' tap drawn anew, and C0 with it; what ammonia has bound by
    now is scaled with the rest. `at_s` [s] turns the table of draws, so that none is met twice."""
    traits = bank.traits
    drawn = np.roll(normal(PER_KIND, _COLUMN), int(at_s))
    tap_z = traits.tap_z.copy()
    tap_z[_ROWS] = _redrawn(traits.tap_z[_ROWS], traits.c0_mg_l[_ROWS], ridge, drawn)
    tap_z = np.where(bank.surplus > _NO_SURPLUS_MG_L, traits.tap_z, tap_z)
    times = np.exp(ridge.tap_sigma * (tap_z - traits.tap_z))
    scaled = ("c0_mg_l", "in_free", "in_combined")
    return replace(
        bank,
        free=bank.free * times,
        combined=bank.combined * times,
        peak=bank.peak * times,
        traits=replace(traits, tap_z=tap_z, **{n: getattr(traits, n) * times for n in scaled}),
    )


def _redrawn(tap_z: Array, c0_mg_l: Array, ridge: Ridge, drawn: Array) -> Array:
    """Scores of the tap, given the ratio of tap to C0: the product of two normal priors."""
    sigma, of_c0 = ridge.tap_sigma, ridge.c0_sd**2
    ratio = sigma * tap_z - np.log(c0_mg_l)
    precision = 1.0 + sigma * sigma / of_c0
    mean = sigma * (ratio + ridge.c0_mean) / of_c0 / precision
    return np.asarray(mean + drawn / math.sqrt(precision))
