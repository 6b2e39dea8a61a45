"""Observations change the members' weights."""

from dataclasses import replace

import numpy as np

from afterfill.inference import prior
from afterfill.inference.bank import DISTURBANCE, PER_KIND, Bank, reweighted, with_electrode
from afterfill.inference.draws import Array
from afterfill.inference.response import PH_REFERENCE, signal_mv

_KIT_FLOOR_MG_L = 0.03  # DPD: detection about 0.04 mg/L (secondary), colour steps of a hobby kit
_KIT_SHARE = 0.2
_T_STEP_SD_C = 0.15  # what a heater and a room do to a tank within minutes: our judgement
_T_DRIFT_C_PER_SQRT_H = 0.25
_T_RECOVERY_S = 5400.0
_T_SHARE, _PH_SHARE = 0.12, 0.25  # of a step, that mixing, heaters or buffers make of it: judgement
_NO_WEIGHT = 1e-250
_T_NORM = 0.375  # of Student's t with four degrees of freedom: its density is 3/8 at the middle
_PH_STEP_SD, _PH_DRIFT_PER_SQRT_H, _PH_RANGE = 0.04, 0.08, 2.0  # light and plants; our judgement
_T_CORRELATED_S, _PH_CORRELATED_S = 150.0, 400.0  # one step of the water is one fact
_T_OUTLIERS, _T_RANGE_K = 0.05, 8.0  # a probe, a window or a heater did it: our judgement


def weighed_by_orp(
    bank: Bank, orp_mv: float, ph: float | None, at_s: float, step_s: float, noise_mv: float
) -> tuple[Bank, float]:
    """The bank after an ORP reading [mV], and by how much the reading lay above what the members
    together expected [mV]. Heavy tails bound what one reading can do; readings nearer together
    than their correlation count for less. The background grew less certain for `step_s` [s]."""
    signal = signal_mv(bank, at_s)
    slope, ph_off = bank.traits.ph_slope_mv, (0.0 if ph is None else ph - PH_REFERENCE)
    innovation = orp_mv - bank.base_mv - signal - slope * ph_off
    unknown_ph = 5.0 if ph is None else 0.0
    model = prior.MODEL_ERROR_MV + prior.MODEL_ERROR * np.abs(signal) + unknown_ph
    news = _news(step_s, at_s)
    noise, base_var = noise_mv**2 + model * model, grown_var(bank, step_s)
    spread = base_var + noise
    square = innovation * innovation / (prior.TAIL_NU * spread)
    robust = (1.0 + 1.0 / prior.TAIL_NU) / (1.0 + square)
    gain = base_var / (base_var + noise / (news * robust))
    log_t = -0.5 * np.log(spread) - 0.5 * (prior.TAIL_NU + 1.0) * np.log1p(square)
    after = with_electrode(
        bank,
        bank.response_mv,
        bank.base_mv + gain * innovation,
        base_var * (1.0 - gain),
        reweighted(bank.weights, news * log_t),
    )
    return after, float(bank.weights @ innovation)


def grown_var(bank: Bank, step_s: float) -> Array:
    """How uncertain each member's background [mV^2] is `step_s` [s] later."""
    return np.asarray(bank.base_var + prior.WANDER_MV_PER_SQRT_H**2 * step_s / 3600.0)


def _news(step_s: float, at_s: float) -> float:
    """What share of an independent reading this one is. The longer after the pour, the more the
    electrode's memory and the law's error rule, which readings do not average away."""
    late_s = max(at_s - prior.EARLY_S, 0.0)
    return min(1.0, step_s / (prior.CORRELATED_S + prior.CORRELATED_GROWTH * late_s))


def weighed_by_temperature(
    bank: Bank, step_c: float, tank_c: float, at_s: float, step_s: float, *, announced: bool
) -> Bank:
    """The bank after a look at how far the tank's temperature moved since before the pour [K].

    It tells how much water came, and for a suspected refill whether any did; never whether that
    water was treated: the odds between the kinds that pour stay as they are.
    """
    traits = bank.traits
    since = np.maximum(at_s - traits.start_s, 0.0)
    expected = bank.poured * (traits.in_c - tank_c) * np.exp(-since / _T_RECOVERY_S)
    drift = _T_DRIFT_C_PER_SQRT_H**2 * max(at_s, 0.0) / 3600.0
    spread = _T_STEP_SD_C**2 + drift + np.square(_T_SHARE * expected)
    return _weighed_by_step(
        bank, step_c - expected, spread, _T_RANGE_K, step_s / _T_CORRELATED_S, announced
    )


def weighed_by_ph(
    bank: Bank, step: float, tank_ph: float, at_s: float, step_s: float, *, announced: bool
) -> Bank:
    """The same of the pH, taken as if it mixed like a concentration: its buffers are not known, and
    its spread allows for that."""
    traits = bank.traits
    expected = bank.poured * (traits.in_ph - tank_ph)
    drift = _PH_DRIFT_PER_SQRT_H**2 * max(at_s, 0.0) / 3600.0
    spread = _PH_STEP_SD**2 + drift + np.square(_PH_SHARE * expected)
    return _weighed_by_step(
        bank, step - expected, spread, _PH_RANGE, step_s / _PH_CORRELATED_S, announced
    )


def _weighed_by_step(
    bank: Bank, off: Array, spread: Array, span: float, news: float, announced: bool
) -> Bank:
    """Weighs how far each member is `off` from a step of the water, with the variance `spread`;
    now and then something else made that step, anywhere within `span`."""
    square = off * off / (prior.TAIL_NU * spread)
    fits = _T_NORM / np.sqrt(spread) * (1.0 + square) ** (-0.5 * (prior.TAIL_NU + 1.0))
    growth = ((1.0 - _T_OUTLIERS) * fits + _T_OUTLIERS / span) ** min(news, 1.0)
    pours = slice(0 if announced else DISTURBANCE + 1, 3)
    return replace(bank, weights=_grown_alike(bank.weights, growth, pours))


def _grown_alike(weights: Array, growth: Array, pours: slice) -> Array:
    """The weights after `growth` (n,), so shared that each kind in `pours` gains as much as these
    kinds together."""
    before, grown = weights.reshape(3, PER_KIND), (weights * growth).reshape(3, PER_KIND)
    totals, gains = before.sum(axis=1), grown.sum(axis=1)
    share = np.ones(3)
    together = gains[pours].sum() / max(totals[pours].sum(), _NO_WEIGHT)
    share[pours] = together * totals[pours] / np.maximum(gains[pours], _NO_WEIGHT)
    shared = grown * share[:, None]
    return np.asarray(np.maximum(shared / shared.sum(), _NO_WEIGHT).ravel())


def weighed_by_kit(bank: Bank, kit_mg_l: float, of: Array) -> Bank:
    """The bank after a chlorine test [mg/L as Cl2] of what `of` (n,) holds in each member. A few
    tests in a hundred read anything below the truth, fewer what is no chlorine at all."""
    spread = _KIT_FLOOR_MG_L**2 + (_KIT_SHARE * of) ** 2
    fits = np.exp(_log_t(kit_mg_l - of, spread)) * _T_NORM
    low = np.where(kit_mg_l < of, prior.KIT_LOW_SHARE / np.maximum(of, _KIT_FLOOR_MG_L), 0.0)
    high = prior.KIT_HIGH_SHARE / prior.KIT_HIGH_MG_L
    right = 1.0 - prior.KIT_LOW_SHARE - prior.KIT_HIGH_SHARE
    return replace(bank, weights=reweighted(bank.weights, np.log(right * fits + low + high)))


def _log_t(innovation: Array, spread: Array) -> Array:
    nu = prior.TAIL_NU
    tail = np.log1p(innovation**2 / (nu * spread))
    return np.asarray(-0.5 * np.log(spread) - 0.5 * (nu + 1.0) * tail)
