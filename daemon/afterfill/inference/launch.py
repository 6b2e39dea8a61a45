"""The bank at the start of a watch: stories drawn from what was said and from the priors."""

import math
from dataclasses import replace

import numpy as np

from afterfill.inference import disturbances, prior
from afterfill.inference.bank import DISTURBANCE, KIND, PER_KIND, SHORT, Bank, Traits
from afterfill.inference.draws import Array, log_normal, normal, uniform
from afterfill.inference.learnt import Learnt, drawn
from afterfill.inference.response import PH_REFERENCE
from afterfill.inference.setup import Pour, Setup, Water

N = PER_KIND * 3
_FELT_K, _FELT_TIMES, _FELT_MOST_K = 0.4, 7.0, 12.0  # more may still come; our judgement
_SOURCE_C = (3.0, 35.0)  # of cold and mixed taps: common practice, no source
_SPREAD_OF_MAX = 1.645  # the stated maximum is taken as the 95 % point


def launched(
    setup: Setup,
    pour: Pour,
    base_mv: float,
    base_var: float,
    temperature_c: float,
    share: Array,
    learnt: Learnt,
    ph: float = PH_REFERENCE,
) -> Bank:
    """A fresh bank. `base_mv`, `base_var`: ORP at the reference pH [mV, mV^2] as known before the
    pour; `learnt`: what is known of the probe; `share` (3,): prior weight of the kinds
    disturbance, dosed, short."""
    traits = _traits(setup, pour, temperature_c, ph, learnt)
    nothing = np.zeros(N)
    return Bank(
        traits=traits,
        free=nothing,
        combined=nothing,
        surplus=nothing,
        capture_mg_l=nothing,
        poured=nothing,
        response_mv=nothing,
        base_mv=np.full(N, base_mv),
        base_var=np.full(N, base_var),
        peak=nothing,
        weights=(np.maximum(share, 1e-9) / (PER_KIND * np.sum(np.maximum(share, 1e-9))))[KIND],
    )


def share_of(pour: Pour, disturbed: bool) -> Array:
    """Prior weights (3,) of disturbance, dosed and short for this pour."""
    if not pour.announced:
        table = prior.SUSPECTED_WHEN_DISTURBED if disturbed else prior.SUSPECTED
        return np.array([table["disturbance"], table["dosed"], table["short"]])
    short = _short_share(pour.neutraliser_ml)
    disturbance = 0.3 if disturbed else 0.15  # feeding and other work go with a refill
    return np.array([disturbance * (1 - short), (1 - disturbance) * (1 - short), short])


def _short_share(neutraliser_ml: float | None) -> float:
    if neutraliser_ml is None:
        return prior.SHORT_WHEN_UNKNOWN
    return prior.SHORT_WHEN_DOSED if neutraliser_ml > 0 else prior.SHORT_WHEN_SAID_NONE


def _traits(setup: Setup, pour: Pour, temperature_c: float, ph: float, learnt: Learnt) -> Traits:
    fraction = _fraction(setup, pour)
    free, combined, surplus = _incoming(setup, pour, fraction)
    if not pour.announced:
        fraction = np.where(KIND == DISTURBANCE, 0.0, fraction)
    start_s = _start_s(pour)
    return Traits(
        fraction=fraction,
        start_s=start_s,
        pour_s=_pour_s(pour),
        in_free=free,
        in_combined=combined,
        in_surplus=surplus,
        in_c=_incoming_c(pour, temperature_c),
        in_ph=_incoming_ph(pour, ph),
        tap_z=normal(N, 16),
        b_mv=drawn(learnt, N, "b_mv"),
        c0_mg_l=drawn(learnt, N, "c0_mg_l"),
        w_ocl=np.clip(prior.W_OCL + 0.2 * normal(N, 3), 0.0, 1.0),
        w_combined=np.minimum(drawn(learnt, N, "w_combined"), 1.0),
        ph_slope_mv=np.clip(learnt.ph_slope_mv + learnt.ph_slope_sd * normal(N, 5), -70.0, 0.0),
        rise_s=drawn(learnt, N, "rise_s"),
        fall_s=drawn(learnt, N, "fall_s"),
        dip_mv=log_normal(N, 8, prior.DIP_MV, prior.DIP_SIGMA),
        k_free_per_s=log_normal(N, 9, prior.K_FREE_PER_H, prior.K_FREE_SIGMA) / 3600.0,
        k_combined_per_s=log_normal(N, 10, prior.K_COMBINED_PER_H, prior.K_COMBINED_SIGMA) / 3600.0,
        nuisance_mv=disturbances.heights_mv(),
        nuisance_start_s=disturbances.starts_s(start_s, announced=pour.announced),
        nuisance_rise_s=disturbances.rises_s(),
        nuisance_fall_s=disturbances.falls_s(),
    )


def _fraction(setup: Setup, pour: Pour) -> Array:
    if pour.litres is None:
        drawn = log_normal(N, 13, prior.FRACTION, prior.FRACTION_SIGMA)
    else:
        drawn = log_normal(N, 13, pour.litres / setup.litres, prior.LITRES_SIGMA)
    return np.clip(drawn, 0.0, 1.0)


def _start_s(pour: Pour) -> Array:
    """An announced pour began about when it was said; a suspected one somewhere before."""
    if pour.announced:
        return 60.0 * prior.START_SD_MIN * normal(N, 14)
    return -900.0 * uniform(N, 14)


def _pour_s(pour: Pour) -> Array:
    if pour.minutes is not None:
        return 60.0 * np.maximum(pour.minutes * np.exp(0.1 * normal(N, 15)), 0.2)
    return 60.0 * log_normal(N, 15, prior.MINUTES, prior.MINUTES_SIGMA)


def _incoming(setup: Setup, pour: Pour, fraction: Array) -> tuple[Array, Array, Array]:
    """Free and combined chlorine and surplus neutraliser of the incoming water [mg/L as Cl2].

    One chlorine takes one equivalent of neutraliser whether free or combined.
    """
    free, combined = tap_chlorine(pour)
    raw = free + combined
    capacity = _capacity_mg_l(setup, pour, fraction, raw)
    left = np.maximum(raw - capacity, 0.0) / np.maximum(raw, 1e-9)
    return free * left, combined * left, np.maximum(capacity - raw, 0.0)


def tap_chlorine(pour: Pour) -> tuple[Array, Array]:
    """Free and combined chlorine [mg/L as Cl2] of the water as it stands before neutralising."""
    water = pour.water
    tap = log_normal(N, 16, water.residual_mg_l, tap_sigma(water))
    if water.disinfectant == "unknown":
        is_free = uniform(N, 17) < 0.7  # of US utilities: JAWWA survey 2017, read
    else:
        is_free = np.full(N, water.disinfectant == "chlorine")
    stood = np.where(is_free, prior.STANDING_FREE_PER_H, prior.STANDING_COMBINED_PER_H)
    left = tap * np.exp(-stood * water.standing_hours)
    return np.where(is_free, left, 0.0), np.where(is_free, 0.0, left)


def tap_sigma(water: Water) -> float:
    """Standard deviation of the logarithm of the tap's chlorine."""
    return math.log(max(water.residual_max_mg_l / water.residual_mg_l, 1.2)) / _SPREAD_OF_MAX


def _capacity_mg_l(setup: Setup, pour: Pour, fraction: Array, raw: Array) -> Array:
    """What the neutraliser can take out of each litre of incoming water [mg/L as Cl2]."""
    strength = np.exp(prior.STRENGTH_SIGMA * normal(N, 18))
    if pour.neutraliser_ml and setup.mg_cl2_per_ml is not None:
        litres = np.maximum(fraction * setup.litres, 1e-3)
        dosed = strength * pour.neutraliser_ml * setup.mg_cl2_per_ml / litres
    else:
        dosed = raw * (1.0 + np.abs(normal(N, 18)))  # treated to the label, and rather too much
    return np.where(KIND == SHORT, raw * _short_part(pour), dosed)


def _short_part(pour: Pour) -> Array:
    """What part of its need a short member got: nothing where nothing was said to be dosed, else
    nothing in half of the members and some part in the others."""
    if pour.neutraliser_ml == 0.0:
        return np.zeros(N)
    return np.maximum(uniform(N, 19) - 0.5, 0.0) * 1.8


def _incoming_ph(pour: Pour, ph: float) -> Array:
    """Tap water is mostly a little above a tank's pH: common practice, no source."""
    known = pour.water.ph
    return np.asarray(
        ph + 0.2 + 0.5 * normal(N, 26) if known is None else known + 0.2 * normal(N, 26)
    )


def _incoming_c(pour: Pour, temperature_c: float) -> Array:
    known_c = pour.water.temperature_c
    if known_c is not None:
        return known_c + 2.0 * normal(N, 21)
    colder_k = 5.0 if pour.announced else 6.0  # a suspicion is often raised by the cold
    return temperature_c + colder_k * (normal(N, 21) - 1.0)


def as_cold_as_felt(
    traits: Traits, tank_c: float, step_c: float, *, source_known: bool = False
) -> Traits:
    """Traits of which half pour what has moved the tank from `tank_c` [degrees C] by `step_c` [K]
    already, or some times as much: few of those drawn at large could. Where the source's
    temperature is known, only the share poured follows."""
    if abs(step_c) < _FELT_K:
        return traits
    most = math.log(min(max(_FELT_MOST_K / abs(step_c), 1.2), _FELT_TIMES))
    full_c = step_c * np.exp(most * uniform(N, 20))
    share = np.maximum(traits.fraction, 1e-3)
    in_c = traits.in_c if source_known else np.clip(tank_c + full_c / share, *_SOURCE_C)
    share = full_c / np.where(in_c == tank_c, step_c, in_c - tank_c)
    felt = (uniform(N, 25) < 0.5) & (traits.fraction > 0.0)
    felt &= share > 0.0  # water that is colder than the tank has not warmed it
    share = np.minimum(share, 1.0)
    return replace(
        traits,
        fraction=np.where(felt, share, traits.fraction),
        in_c=np.where(felt, in_c, traits.in_c),
    )
