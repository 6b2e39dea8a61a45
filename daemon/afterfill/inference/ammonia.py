"""Total ammonia of the tank: a small ensemble fed by food, eaten by the filter, read by kits.

dTAN/dt = k (steady - TAN): first order below 1 mg/L (Ebeling & Wheaton 2006, abstract, read).
"""

from typing import NamedTuple

import numpy as np

from afterfill.chemistry.acid_base import nh3_fraction
from afterfill.chemistry.constants import AMMONIA_KIT
from afterfill.chemistry.kits import kit_sd
from afterfill.chemistry.stoichiometry import MG_CL2_PER_MG_N, ammonia_from_chloramine
from afterfill.inference.filter.streams import Array, log_normal, normal
from afterfill.inference.model import priors
from afterfill.inference.model.parameters import tap_chlorine
from afterfill.inference.quantiles import quantiles_alike
from afterfill.inference.setup import Pour, Water
from afterfill.records import Quantiles

N = 64
_K_PER_H, _K_SIGMA = 0.2, 0.7  # 1-10 per day in a mature filter; common practice, no source
_UNKNOWN_CAUSE, _USUAL_RANGE_MG_L = 0.2, 4.0  # our judgement


class Ammonia(NamedTuple):
    """Members of shape (64,): total ammonia and its steady state [mg/L as N], filter [1/s];
    `points` of the total where they have been worked out: they are asked for at each step."""

    total: Array
    steady: Array
    k_per_s: Array
    points: Quantiles | None = None


def unmet() -> Ammonia:
    """Before any test."""
    steady = log_normal(N, "ammonia steady", priors.TAN_MG_L, priors.TAN_SIGMA)
    return Ammonia(steady, steady, log_normal(N, "ammonia filter", _K_PER_H, _K_SIGMA) / 3600.0)


def aged(ammonia: Ammonia, step_s: float, working: Array | None = None) -> Ammonia:
    """After `step_s` [s] of filter and food; `working` as in `total_after`."""
    total = total_after(ammonia, step_s, working)
    return Ammonia(total, ammonia.steady, ammonia.k_per_s, quantiles_alike(total))


def total_after(ammonia: Ammonia, step_s: float | Array, working: Array | None = None) -> Array:
    """Each member's total [mg/L as N] after `step_s` [s], shape (64,) or, for steps (k, 1), (k,
    64). `working`: the share of its usual pace at which each one's filter works, (64,) above 0,
    None: all of it. Food goes on, so a filter at half its pace leads to twice the steady state."""
    k_per_s, steady = ammonia.k_per_s, ammonia.steady
    if working is not None:
        k_per_s, steady = k_per_s * working, steady / working
    return np.asarray(steady + (ammonia.total - steady) * np.exp(-k_per_s * step_s))


def refilled(ammonia: Ammonia, pour: Pour, litres: float) -> Ammonia:
    """After a pour into a tank of `litres`: chloramine's nitrogen is counted as ammonia at once,
    which is what a neutraliser makes of it, and the safe side while it is still bound."""
    size = priors.FRACTION if pour.litres is None else pour.litres / litres
    sigma = priors.LITRES_SIGMA if pour.litres else priors.FRACTION_SIGMA
    fraction = np.clip(log_normal(N, "ammonia fraction", size, sigma), 0, 1)
    brought = ammonia_of_source(pour)
    total = ammonia.total + fraction * (brought - ammonia.total)
    return ammonia._replace(total=total, points=None)


def ammonia_of_source(pour: Pour) -> Array:
    """Total ammonia that the source brings with its chloramine neutralised, shape (64,)."""
    _, combined = tap_chlorine(pour.water, N)
    bound = np.asarray(ammonia_from_chloramine(combined))
    return bound + _unbound(pour.water, bound)


def _unbound(water: Water, bound: Array) -> Array:
    """Ammonia that the utility added beyond what chlorine binds, or what the label says."""
    if water.ammonia_mg_l is not None:
        return np.full(N, water.ammonia_mg_l)
    return np.asarray(bound * max(MG_CL2_PER_MG_N / water.chlorine_to_nitrogen - 1.0, 0.0))


def tested(ammonia: Ammonia, kit_mg_l: float) -> Ammonia:
    """After a total-ammonia test [mg/L as N].

    Beside the members as they are stand as many that believe the kit alone: something may have
    happened that no member knows of.
    """
    deviation = kit_sd(AMMONIA_KIT, kit_mg_l)
    by_kit = np.maximum(kit_mg_l + deviation * normal(N, "ammonia kit"), 0.0)
    fits = np.exp(-0.5 * ((kit_mg_l - ammonia.total) / deviation) ** 2) / (2.5066 * deviation)
    weights = np.concatenate(
        ((1.0 - _UNKNOWN_CAUSE) * fits, np.full(N, _UNKNOWN_CAUSE / _USUAL_RANGE_MG_L))
    )
    reached = np.cumsum(weights) / np.sum(weights)
    index = np.minimum(np.searchsorted(reached, (np.arange(N) + 0.5) / N), 2 * N - 1)
    steady = np.concatenate((ammonia.steady, np.maximum(ammonia.steady, 0.5 * by_kit)))
    return Ammonia(
        np.concatenate((ammonia.total, by_kit))[index] * np.exp(0.05 * normal(N, "ammonia spread")),
        steady[index],
        np.tile(ammonia.k_per_s, 2)[index],
    )


def total_of(ammonia: Ammonia) -> Quantiles:
    """Total ammonia [mg/L as N]."""
    return ammonia.points or quantiles_alike(ammonia.total)


def free_of(ammonia: Ammonia, ph: float | None, temperature_c: float | None) -> Quantiles | None:
    """Un-ionised ammonia [mg/L as N]; None when pH or temperature is not known."""
    if ph is None or temperature_c is None or not 0.0 <= temperature_c <= 50.0:
        return None
    share = nh3_fraction(ph, temperature_c)
    total = total_of(ammonia)
    return Quantiles(share * total.q05, share * total.q50, share * total.q95)
