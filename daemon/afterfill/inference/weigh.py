"""Observations change the members' weights."""

from dataclasses import replace

import numpy as np

from afterfill.inference import prior
from afterfill.inference.bank import Bank
from afterfill.inference.draws import Array
from afterfill.inference.response import PH_REFERENCE, signal_mv

_KIT_FLOOR_MG_L = 0.03  # DPD: detection about 0.04 mg/L (secondary), colour steps of a hobby kit
_KIT_SHARE = 0.2
_T_STEP_SD_C = 0.15  # what a heater and a room do to a tank within minutes: our judgement
_T_DRIFT_C_PER_SQRT_H = 0.25
_T_RECOVERY_S = 5400.0


def wandered(bank: Bank, step_s: float) -> Bank:
    """Each member's background grows less certain with time."""
    grown = prior.WANDER_MV_PER_SQRT_H**2 * step_s / 3600.0
    return replace(bank, base_var=bank.base_var + grown)


def weighed_by_orp(
    bank: Bank, orp_mv: float, ph: float | None, at_s: float, step_s: float, noise_mv: float
) -> Bank:
    """The bank after an ORP reading [mV]. Heavy tails bound what one reading can do; readings
    nearer together than their correlation count for less."""
    signal = signal_mv(bank, at_s)
    slope, ph_off = bank.traits.ph_slope_mv, (0.0 if ph is None else ph - PH_REFERENCE)
    innovation = orp_mv - bank.base_mv - signal - slope * ph_off
    unknown_ph = 5.0 if ph is None else 0.0
    model = prior.MODEL_ERROR_MV + prior.MODEL_ERROR * np.abs(signal) + unknown_ph
    news = _news(step_s, at_s)
    noise = noise_mv**2 + model**2
    spread = bank.base_var + noise
    robust = _robust(innovation, spread)
    gain = bank.base_var / (bank.base_var + noise / (news * robust))
    return replace(
        bank,
        log_weight=bank.log_weight + news * _log_t(innovation, spread),
        base_mv=bank.base_mv + gain * innovation,
        base_var=bank.base_var * (1.0 - gain),
    )


def _news(step_s: float, at_s: float) -> float:
    """What share of an independent reading this one is. The longer after the pour, the more the
    electrode's memory and the law's error rule, which readings do not average away."""
    late_s = max(at_s - prior.EARLY_S, 0.0)
    return min(1.0, step_s / (prior.CORRELATED_S + prior.CORRELATED_GROWTH * late_s))


def weighed_by_temperature(
    bank: Bank, step_c: float, tank_c: float, at_s: float, step_s: float
) -> Bank:
    """The bank after a look at how far the tank's temperature moved since before the pour [K]."""
    traits = bank.traits
    since = np.maximum(at_s - traits.start_s, 0.0)
    expected = bank.poured * (traits.in_c - tank_c) * np.exp(-since / _T_RECOVERY_S)
    spread = _T_STEP_SD_C**2 + _T_DRIFT_C_PER_SQRT_H**2 * max(at_s, 0.0) / 3600.0
    news = min(1.0, step_s / 300.0)
    gained = news * _log_t(step_c - expected, np.full_like(expected, spread))
    return replace(bank, log_weight=bank.log_weight + gained)


def weighed_by_kit(bank: Bank, kit_mg_l: float, of: Array) -> Bank:
    """The bank after a chlorine test [mg/L as Cl2] of what `of` (n,) holds in each member."""
    spread = _KIT_FLOOR_MG_L**2 + (_KIT_SHARE * of) ** 2
    return replace(bank, log_weight=bank.log_weight + _log_t(kit_mg_l - of, spread))


def _robust(innovation: Array, spread: Array) -> Array:
    nu = prior.TAIL_NU
    return np.asarray((nu + 1.0) / (nu + innovation**2 / spread))


def _log_t(innovation: Array, spread: Array) -> Array:
    nu = prior.TAIL_NU
    tail = np.log1p(innovation**2 / (nu * spread))
    return np.asarray(-0.5 * np.log(spread) - 0.5 * (nu + 1.0) * tail)
