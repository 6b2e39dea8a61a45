"""A bank of members: each is one complete story of a refill, with its own tank, probe and dose.

Members come in three kinds of equal number. The kind's total weight is never lost by resampling,
so a story that looks unlikely now can still come back.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from afterfill.inference.draws import Array

PER_KIND = 192
DISTURBANCE, DOSED, SHORT = 0, 1, 2
KIND = np.repeat(np.arange(3), PER_KIND)
KIND.setflags(write=False)
_LEAST_WEIGHT = 1e-250


@dataclass(frozen=True, slots=True)
class Traits:
    """What does not change in a member. Arrays of shape (n,).

    `fraction` of the full volume is poured over `pour_s` from `start_s` (s after the watch's
    zero); `in_*` is what the incoming water brings [mg/L as Cl2; degrees C; pH], `tap_z` how many
    standard deviations the tap's chlorine lies off what is known of it.
    """

    fraction: Array
    start_s: Array
    pour_s: Array
    in_free: Array
    in_combined: Array
    in_surplus: Array
    in_c: Array
    in_ph: Array
    tap_z: Array
    b_mv: Array
    c0_mg_l: Array
    w_ocl: Array
    w_combined: Array
    ph_slope_mv: Array
    rise_s: Array
    fall_s: Array
    dip_mv: Array
    k_free_per_s: Array
    k_combined_per_s: Array
    nuisance_mv: Array
    nuisance_start_s: Array
    nuisance_rise_s: Array
    nuisance_fall_s: Array


@dataclass(frozen=True, slots=True)
class Bank:
    """Members with what moves in them. Arrays of shape (n,); `weights` add up to one.

    `response_mv` is the lagged electrode response, `base_mv` with `base_var` the member's own
    idea of the ORP without oxidant at the reference pH, `peak` the highest residual so far,
    `capture_mg_l` the free chlorine that the tank's ammonia can still bind.
    """

    traits: Traits
    free: Array
    combined: Array
    surplus: Array
    capture_mg_l: Array
    poured: Array
    response_mv: Array
    base_mv: Array
    base_var: Array
    peak: Array
    weights: Array

    @property
    def residual(self) -> Array:
        """Total residual oxidant of each member [mg/L as Cl2]."""
        return self.free + self.combined


def with_electrode(
    bank: Bank, response_mv: Array, base_mv: Array, base_var: Array, weights: Array
) -> Bank:
    """The same water and another electrode, background and weights (written out: it is called at
    every step, and `dataclasses.replace` takes four times as long)."""
    return Bank(
        bank.traits,
        bank.free,
        bank.combined,
        bank.surplus,
        bank.capture_mg_l,
        bank.poured,
        response_mv,
        base_mv,
        base_var,
        bank.peak,
        weights,
    )


def reweighted(weights: Array, log_gain: Array) -> Array:
    """The weights after each member's log likelihood `log_gain` (n,) is added. None gets so small
    that it is lost for good."""
    raw = weights * np.exp(log_gain - log_gain.max())
    raw /= raw.sum()
    return np.asarray(np.maximum(raw, _LEAST_WEIGHT))


def probability(bank: Bank, is_so: NDArray[np.bool_]) -> float:
    """Weight of the members for which `is_so` (boolean, shape (n,)) holds, in [0, 1]."""
    return float(bank.weights @ is_so)
