"""The ORP that a member's water would show: shape of a mixed potential, with memory.

Step over the background: ``b log10(1 + C_eff / C0)``, C_eff weighing HOCl, OCl- and combined
chlorine; it rises in minutes and falls in tens of minutes (oxide memory of noble metals). Form
and ranges: our reading of James, Copeland & Lytle 2004 and of electrode makers' notes (abstract
read; secondary); nothing here turns millivolts into mg/L without the tank's own baseline.
"""

import numpy as np

from afterfill.inference import disturbances
from afterfill.inference.bank import Bank, Traits, with_electrode
from afterfill.inference.draws import Array

PH_REFERENCE = 7.5
_DIP_HALF_MG_L = 0.5


def settled_mv(traits: Traits, free: Array, combined: Array, hocl: float) -> Array:
    """Response [mV] that the electrode would reach in time, at this share of HOCl."""
    of_free = hocl + traits.w_ocl * (1.0 - hocl)
    effective = free * of_free + combined * traits.w_combined
    return np.asarray(traits.b_mv * np.log10(1.0 + effective / traits.c0_mg_l))


def lagged(bank: Bank, hocl: float, step_s: float) -> Bank:
    """The bank after the electrode has followed its water for `step_s` [s]."""
    traits = bank.traits
    target = settled_mv(traits, bank.free, bank.combined, hocl)
    lag_s = np.where(target > bank.response_mv, traits.rise_s, traits.fall_s)
    left = (bank.response_mv - target) * np.exp(-step_s / lag_s)
    return with_electrode(bank, target + left, bank.base_mv, bank.base_var, bank.weights)


def dip_share(bank: Bank) -> Array:
    """What part of its deepest dip a member's surplus of neutraliser makes."""
    return np.asarray(bank.surplus / (bank.surplus + _DIP_HALF_MG_L))


def signal_mv(bank: Bank, at_s: float) -> Array:
    """All that a member adds to its background at `at_s` [mV], but for the pH."""
    traits = bank.traits
    other = traits.nuisance_mv * disturbances.share(traits, at_s) - traits.dip_mv * dip_share(bank)
    return np.asarray(bank.response_mv + other)
