"""The table of the model's static parameters: what is believed of each before any reading.

`log`: moved in logarithms when particles are regularised; `inherited`: an episode that begins in
another one's water takes it over from there; `regularised`: copies of a particle differ in it.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from afterfill.inference.calibration.learnt import Learnt, drawn
from afterfill.inference.filter.streams import Array, log_normal, normal, uniform
from afterfill.inference.model import disturbance, priors
from afterfill.inference.model import particles as row
from afterfill.inference.setup import Pour, Setup, Water

_SPREAD_OF_MAX = 1.645  # the stated maximum is taken as the 95 % point
_NO_CHLORINE_MG_L = 0.05  # the smallest step of a kit
# Of US utilities 0.7 by chlorine alone (JAWWA survey 2017, read). One that is known may have gone
# over, and a quarter or more of those with chloramine use chlorine for a month of the year (EPA
# 2016, quoted by a utility, read): how often a keeper meets it unaware is our judgement.
_FREE_SHARE = {"unknown": 0.7, "chlorine": 0.97, "chloramine": 0.03}


@dataclass(frozen=True, slots=True)
class Start:
    """What is known when an episode begins: the tank before the pour (degrees C, pH), what was said
    of the pour, what is known of the probe, whether other work on the tank was announced, and
    whether something that oxidises and is no refill was told of or comes at this hour."""

    setup: Setup
    pour: Pour
    learnt: Learnt
    tank_c: float
    tank_ph: float
    disturbed: bool
    oxidised: bool = False


class Parameter(NamedTuple):
    """One row of the table; `draw` gives `n` draws from the prior, in the row's unit."""

    row: int
    name: str
    draw: Callable[[Start, int], Array]
    log: bool = False
    inherited: bool = False
    regularised: bool = False


def tap_sigma(water: Water) -> float:
    """Standard deviation of the logarithm of the tap's chlorine: as wide as the stated maximum, and
    not narrower than what taps are; or what has been learnt of it."""
    if water.sigma is not None:
        return water.sigma
    stated = math.log(water.residual_max_mg_l / water.residual_mg_l) / _SPREAD_OF_MAX
    return max(stated, priors.TAP_SIGMA)


def is_filtered(water: Water) -> bool:
    """Whether the source is said to hold no chlorine: filtered, or from a well."""
    return water.kind == "filtered" or (
        water.kind == "tap" and water.residual_mg_l < _NO_CHLORINE_MG_L
    )


def raw_share(water: Water) -> float:
    """Probability that the water is as the utility gives it: 1 but behind a filter, which keeps it
    from that until it breaks through."""
    if not is_filtered(water):
        return 1.0
    return priors.BREAKTHROUGH if water.breakthrough is None else water.breakthrough


def tap_chlorine(water: Water, n: int) -> tuple[Array, Array]:
    """Draws of free and combined chlorine [mg/L as Cl2] of the water as it stands before
    neutralising."""
    tap = log_normal(n, "tap strength", water.residual_mg_l, tap_sigma(water))
    if is_filtered(water):  # zero is never certain: a cartridge breaks through
        raw_mg_l = priors.RAW_MG_L if water.raw_mg_l is None else water.raw_mg_l
        raw = log_normal(n, "raw water", raw_mg_l, priors.RAW_SIGMA)
        tap = np.where(uniform(n, "breakthrough") < raw_share(water), raw, tap)
    is_free = uniform(n, "tap kind") < _FREE_SHARE[water.disinfectant]
    stood = np.where(is_free, priors.STANDING_FREE_PER_H, priors.STANDING_COMBINED_PER_H)
    left = tap * np.exp(-stood * water.standing_hours)
    return np.where(is_free, left, 0.0), np.where(is_free, 0.0, left)


def _fraction(start: Start, n: int) -> Array:
    litres = start.pour.litres
    if litres is None:
        share = log_normal(n, "fraction", priors.FRACTION, priors.FRACTION_SIGMA)
    else:
        share = log_normal(n, "fraction", litres / start.setup.litres, priors.LITRES_SIGMA)
    return np.clip(share, 0.0, 1.0)


def _start_s(start: Start, n: int) -> Array:
    """An announced pour began about when it was said; a suspected one somewhere before."""
    if start.pour.announced:
        return 60.0 * priors.START_SD_MIN * normal(n, "start")
    return -900.0 * uniform(n, "start")


def _pour_s(start: Start, n: int) -> Array:
    minutes = start.pour.minutes
    if minutes is not None:
        return 60.0 * np.maximum(minutes * np.exp(0.1 * normal(n, "minutes")), 0.2)
    return 60.0 * log_normal(n, "minutes", priors.MINUTES, priors.MINUTES_SIGMA)


def _incoming_c(start: Start, n: int) -> Array:
    known_c = start.pour.water.temperature_c
    if known_c is not None:
        return known_c + 2.0 * normal(n, "incoming temperature")
    colder_k = 5.0 if start.pour.announced else 6.0  # a suspicion is often raised by the cold
    return start.tank_c + colder_k * (normal(n, "incoming temperature") - 1.0)


def _incoming_ph(start: Start, n: int) -> Array:
    """Tap water is mostly a little above a tank's pH: common practice, no source."""
    known, z = start.pour.water.ph, normal(n, "incoming pH")
    return np.asarray(start.tank_ph + 0.2 + 0.5 * z if known is None else known + 0.2 * z)


def _ph_slope(start: Start, n: int) -> Array:
    learnt = start.learnt
    slope = learnt.ph_slope_mv + learnt.ph_slope_sd * normal(n, "pH slope")
    return np.clip(slope, -70.0, 0.0)


def _of_probe(name: str) -> Callable[[Start, int], Array]:
    return lambda start, n: drawn(start.learnt, n, name)


def _of_disturbance(which: int) -> Callable[[Start, int], Array]:
    return lambda start, n: disturbance.of_a_refill(n, _start_s(start, n))[which]


PARAMETERS: tuple[Parameter, ...] = (
    Parameter(row.FRACTION, "fraction", _fraction),
    Parameter(row.START_S, "start_s", _start_s),
    Parameter(row.POUR_S, "pour_s", _pour_s),
    Parameter(row.IN_FREE, "in_free", lambda s, n: tap_chlorine(s.pour.water, n)[0]),
    Parameter(row.IN_COMBINED, "in_combined", lambda s, n: tap_chlorine(s.pour.water, n)[1]),
    Parameter(row.IN_NEUTRALISER, "in_neutraliser", lambda _, n: np.zeros(n)),
    Parameter(row.IN_C, "in_c", _incoming_c),
    Parameter(row.IN_PH, "in_ph", _incoming_ph),
    Parameter(row.TAP_Z, "tap_z", lambda _, n: normal(n, "tap strength")),
    Parameter(row.B_MV, "b_mv", _of_probe("b_mv"), True, True, True),
    Parameter(row.C0_MG_L, "c0_mg_l", _of_probe("c0_mg_l"), True, True, True),
    Parameter(
        row.W_OCL, "w_ocl",
        lambda _, n: np.clip(priors.W_OCL + priors.W_OCL_SD * normal(n, "w_ocl"), 0.0, 1.0),
        inherited=True,
    ),
    Parameter(
        row.W_COMBINED, "w_combined",
        lambda s, n: np.minimum(drawn(s.learnt, n, "w_combined"), 1.0), True, True, True,
    ),
    Parameter(row.PH_SLOPE_MV, "ph_slope_mv", _ph_slope, inherited=True),
    Parameter(row.RISE_S, "rise_s", _of_probe("rise_s"), True, False, True),
    Parameter(row.FALL_S, "fall_s", _of_probe("fall_s"), True, True, True),
    Parameter(
        row.ARTEFACT_MV, "artefact_mv",
        lambda _, n: log_normal(n, "artefact", priors.DIP_MV, priors.DIP_SIGMA), inherited=True,
    ),
    Parameter(
        row.K_FREE_PER_S, "k_free_per_s",
        lambda _, n: log_normal(n, "free decay", priors.K_FREE_PER_H, priors.K_FREE_SIGMA) / 3600.0,
        log=True, inherited=True, regularised=True,
    ),
    Parameter(
        row.K_COMBINED_PER_S, "k_combined_per_s",
        lambda _, n: log_normal(
            n, "combined decay", priors.K_COMBINED_PER_H, priors.K_COMBINED_SIGMA
        ) / 3600.0,
        log=True, inherited=True, regularised=True,
    ),
    *(
        Parameter(which, name, _of_disturbance(which))
        for which, name in (
            (row.DISTURBANCE_MV, "disturbance_mv"),
            (row.DISTURBANCE_START_S, "disturbance_start_s"),
            (row.DISTURBANCE_RISE_S, "disturbance_rise_s"),
            (row.DISTURBANCE_FALL_S, "disturbance_fall_s"),
            (row.DISTURBANCE_MOST_MV, "disturbance_most_mv"),
        )
    ),
    Parameter(row.ANSWER, "answer", lambda _, n: np.ones(n)),
)  # fmt: skip
INHERITED = [p.row for p in PARAMETERS if p.inherited]
MOVED_IN_LOGARITHMS = [p.row for p in PARAMETERS if p.regularised and p.log]


def from_prior(start: Start, n: int) -> Array:
    """`n` draws of every parameter, shape (25, n)."""
    return np.array([parameter.draw(start, n) for parameter in PARAMETERS])
