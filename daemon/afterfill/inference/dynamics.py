"""How a member's water changes from one step to the next."""

import math

import numpy as np

from afterfill.inference import prior
from afterfill.inference.bank import Bank
from afterfill.inference.draws import Array

_CAPTURE_S = 20.0  # free chlorine meets ammonia within a minute (see chemistry/chloramine)


def flowed(bank: Bank, from_s: float, to_s: float, *, pouring: bool = True) -> Bank:
    """The bank's water after the interval from `from_s` to `to_s` [s after the watch's zero];
    `pouring` false when every story has its water in.

    Order: what is poured is mixed in; neutraliser meets chlorine; ammonia binds free chlorine;
    what is left decays at first order. The peak is taken before the decay.
    """
    step_s, traits = to_s - from_s, bank.traits
    free, combined, surplus, poured = bank.free, bank.combined, bank.surplus, bank.poured
    if pouring:
        inflow = poured_in(bank, from_s, to_s)
        free = _mixed(free, traits.in_free, inflow)
        combined = _mixed(combined, traits.in_combined, inflow)
        surplus = _mixed(surplus, traits.in_surplus, inflow)
        poured = poured + inflow
    free, combined, surplus = _neutralised(free, combined, surplus, step_s)
    bound = np.minimum(free, bank.capture_mg_l) * -math.expm1(-step_s / _CAPTURE_S)
    free, combined = free - bound, combined + bound
    return Bank(
        traits,
        free=free * np.exp(-step_s * traits.k_free_per_s),
        combined=combined * np.exp(-step_s * traits.k_combined_per_s),
        surplus=surplus * math.exp(-prior.K_SURPLUS_PER_H / 3600.0 * step_s),
        capture_mg_l=bank.capture_mg_l - bound,
        poured=poured,
        response_mv=bank.response_mv,
        base_mv=bank.base_mv,
        base_var=bank.base_var,
        peak=np.maximum(bank.peak, free + combined),
        weights=bank.weights,
    )


def poured_in(bank: Bank, from_s: float, to_s: float) -> Array:
    """Share of the full volume that came in during the interval, shape (n,)."""
    traits = bank.traits
    begin = np.maximum(traits.start_s, from_s)
    end = np.minimum(traits.start_s + traits.pour_s, to_s)
    return np.asarray(traits.fraction * np.maximum(end - begin, 0.0) / traits.pour_s)


def _mixed(before: Array, added: Array, inflow: Array) -> Array:
    return before + inflow * (added - before)


def _neutralised(
    free: Array, combined: Array, surplus: Array, step_s: float
) -> tuple[Array, Array, Array]:
    from_free = np.minimum(free, surplus)
    surplus = surplus - from_free
    pace = -math.expm1(-step_s / (60.0 * prior.NEUTRALISED_MIN))
    from_combined = np.minimum(combined, surplus) * pace
    return free - from_free, combined - from_combined, surplus - from_combined
