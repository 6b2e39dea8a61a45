"""What is believed of a source's chlorine at the tap: the configuration's word, then what tests of
the tap and refills whose truth became known have taught.

A logarithm with a standard deviation. It is never narrower than a tap moves from day to day, and
widens again with the time since it was learnt.
"""

import math
from dataclasses import replace
from typing import NamedTuple

from afterfill.chemistry.constants import DPD_KIT
from afterfill.chemistry.kits import kit_sd
from afterfill.inference.filter.streams import Array
from afterfill.inference.model import priors
from afterfill.inference.model.parameters import is_filtered, tap_sigma
from afterfill.inference.setup import Water

# From day to day 0.14 at seven homes, of a proxy, trihalomethanes (Binkley 2015, abstract).
_DAY_TO_DAY = 0.15
_PER_ROOT_YEAR = 0.34  # one works by 1.4 times within a year (a US utility's table, read)
_YEAR_S = 365.25 * 86_400.0
_SURPRISE = 2.0  # standard deviations; beyond, the utility has changed: our judgement
_NARROWS_TO = 0.6  # of the doubt before: one refill must not teach much; our judgement
_AS_SURE = 1.25  # times the doubt: our judgement
_BROKEN_THROUGH = 0.6  # once a filter let chlorine through, it may again; our judgement


class SourceBelief(NamedTuple):
    """`log_mean`, `log_sd`: of the natural logarithm of total chlorine at the tap [mg/L as Cl2] at
    `time_s` [s]; `taught`: how many tests and refills taught it; `breakthrough`: probability that a
    filter lets the raw water through."""

    log_mean: float
    log_sd: float
    time_s: float
    taught: int = 0
    breakthrough: float = priors.BREAKTHROUGH


def as_configured(water: Water, time_s: float) -> SourceBelief:
    """Before anything taught it."""
    return SourceBelief(math.log(water.residual_mg_l), tap_sigma(water), time_s)


def believed(water: Water, known: SourceBelief | None, time_s: float) -> Water:
    """The water of a source at `time_s` [s] as it is believed by then; as configured where nothing
    has taught it."""
    if known is None:
        return water
    if is_filtered(water):
        return replace(water, breakthrough=known.breakthrough)
    now = _later(known, water, time_s)
    spread = math.hypot(now.log_sd, _DAY_TO_DAY)
    return replace(water, residual_mg_l=math.exp(now.log_mean), sigma=spread)


def tested(
    water: Water, known: SourceBelief | None, kit_mg_l: float, time_s: float
) -> SourceBelief:
    """After a test of the source itself showed `kit_mg_l` of total chlorine [mg/L as Cl2], 0 or
    more. A result far off what was believed is believed: utilities change."""
    now = as_configured(water, time_s) if known is None else _later(known, water, time_s)
    if is_filtered(water):
        shows = kit_mg_l > priors.KIT_FLOOR_MG_L
        chance = _BROKEN_THROUGH if shows else 0.5 * now.breakthrough
        return now._replace(breakthrough=chance, taught=now.taught + 1)
    shown_mg_l = max(kit_mg_l, priors.KIT_FLOOR_MG_L)
    of_log = kit_sd(DPD_KIT, shown_mg_l) / shown_mg_l
    off = math.log(shown_mg_l) - now.log_mean
    before = max(now.log_sd**2, (off / _SURPRISE) ** 2 - of_log**2)
    gain = before / (before + of_log**2)
    return now._replace(
        log_mean=now.log_mean + gain * off,
        log_sd=math.sqrt(before * (1.0 - gain)),
        taught=now.taught + 1,
    )


def taught_by_refill(
    water: Water, known: SourceBelief | None, tap_z: Array, weights: Array, time_s: float
) -> SourceBelief:
    """After a refill of `water`, as it was believed when it began, whose truth became known:
    `tap_z` (n,) are the particles' scores of the tap's strength, `weights` (n,) add up to one. It
    moves the mean by at most one standard deviation."""
    if is_filtered(water):
        now = as_configured(water, time_s) if known is None else known
        return now._replace(breakthrough=_BROKEN_THROUGH, taught=now.taught + 1, time_s=time_s)
    sigma = tap_sigma(water)
    mean = float(tap_z @ weights)
    sd = math.sqrt(float((tap_z - mean) ** 2 @ weights))
    taught = 0 if known is None else known.taught
    return SourceBelief(
        math.log(water.residual_mg_l) + sigma * min(max(mean, -1.0), 1.0),
        sigma * min(max(sd, _NARROWS_TO), 1.0),
        time_s,
        taught + 1,
    )


def is_news(known: SourceBelief, word: SourceBelief) -> bool:
    """Whether another's word tells more than what is known: it is about as sure, or so far off that
    the tap has changed. A vague word must not take the place of a good test."""
    off = abs(word.log_mean - known.log_mean)
    far = off > _SURPRISE * math.hypot(known.log_sd, word.log_sd)
    through = word.breakthrough > known.breakthrough
    return far or through or word.log_sd <= _AS_SURE * known.log_sd


def _later(known: SourceBelief, water: Water, time_s: float) -> SourceBelief:
    """The same belief later: wider, up to what it was before anything taught it."""
    years = max(time_s - known.time_s, 0.0) / _YEAR_S
    grown = math.sqrt(known.log_sd**2 + _PER_ROOT_YEAR**2 * years)
    widest = max(known.log_sd, tap_sigma(water))
    return known._replace(log_sd=min(grown, widest), time_s=max(time_s, known.time_s))
