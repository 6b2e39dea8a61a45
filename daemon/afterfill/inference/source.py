"""What is believed of a source's chlorine at the tap: the configuration's word, then what tests of
the tap and refills whose truth became known have taught.

A logarithm with a standard deviation. It is never narrower than a tap moves from day to day, and
widens again with the time since it was learnt.
"""

import math
from dataclasses import replace
from typing import Literal, NamedTuple

from afterfill.chemistry.constants import DPD_KIT
from afterfill.chemistry.kits import kit_sd
from afterfill.inference.filter.streams import Array
from afterfill.inference.model import priors
from afterfill.inference.model.parameters import is_filtered, tap_chlorine, tap_sigma
from afterfill.inference.quantiles import quantiles_alike
from afterfill.inference.setup import Water
from afterfill.records import Quantiles
from afterfill.records.words import Disinfectant

# From day to day 0.14 at seven homes, of a proxy, trihalomethanes (Binkley 2015, abstract).
_DAY_TO_DAY = 0.15
_PER_ROOT_YEAR = 0.34  # one works by 1.4 times within a year (a US utility's table, read)
_YEAR_S = 365.25 * 86_400.0
_SURPRISE = 2.0  # standard deviations; beyond, the utility has changed: our judgement
_NARROWS_TO = 0.6  # of the doubt before: one refill must not teach much; our judgement
_AS_SURE = 1.25  # times the doubt: our judgement
_BROKEN_THROUGH = 0.6  # once a filter let chlorine through, it may again; our judgement
_STOOD = 0.5  # how far what standing takes differs from place to place, as a share; our judgement
_LEAST_LOG, _WIDEST = math.log(1e-3), 3.0  # a thousandth of a mg/L; wider means nothing any more
_TELLS_KIND_MG_L = 0.2  # below, two readings of a kit differ by their own error
_DRAWS = 512


class SourceBelief(NamedTuple):
    """`log_mean`, `log_sd`: of the natural logarithm of total chlorine at the tap [mg/L as Cl2] at
    `time_s` [s]; `taught`: how many tests and refills taught it; `breakthrough`: probability that a
    filter lets the raw water through, as of when `litres_tested` of the `litres` [L] had passed its
    cartridge; `disinfectant`: what a test showed it to be, empty where none did; `changed`: it
    was found to be another water than was believed, and no test has agreed since."""

    log_mean: float
    log_sd: float
    time_s: float
    taught: int = 0
    breakthrough: float = priors.BREAKTHROUGH
    litres: float = 0.0
    litres_tested: float = 0.0
    disinfectant: Disinfectant | Literal[""] = ""
    changed: bool = False


def as_configured(water: Water, time_s: float) -> SourceBelief:
    """Before anything taught it. Stored water has lost what standing takes, more or less; of an
    unknown disinfectant no more than chloramine loses."""
    log_mean, log_sd = math.log(water.residual_mg_l), tap_sigma(water)
    if water.kind == "stored":
        is_free = water.disinfectant == "chlorine"
        per_h = priors.STANDING_FREE_PER_H if is_free else priors.STANDING_COMBINED_PER_H
        lost = per_h * water.standing_hours
        log_mean, log_sd = max(log_mean - lost, _LEAST_LOG), math.hypot(log_sd, _STOOD * lost)
    return SourceBelief(log_mean, min(log_sd, _WIDEST), time_s)


def current(water: Water, known: SourceBelief | None) -> SourceBelief | None:
    """What is known of this water: nothing of the time before its utility or its cartridge was
    changed."""
    return None if known is None or known.time_s < water.since_s else known


def believed(water: Water, known: SourceBelief | None, time_s: float) -> Water:
    """The water of a source at `time_s` [s] as it is believed by then; as configured where nothing
    has taught it."""
    known = current(water, known)
    if known is None:
        if water.kind != "stored":
            return water
        known = as_configured(water, time_s)
    if is_filtered(water):
        return replace(water, breakthrough=breakthrough_of(water, known))
    now = _later(known, water, time_s)
    return replace(
        water,
        disinfectant=now.disinfectant or water.disinfectant,
        residual_mg_l=math.exp(now.log_mean),
        sigma=math.hypot(now.log_sd, _DAY_TO_DAY),
        standing_hours=0.0 if water.kind == "stored" else water.standing_hours,
    )


def level_of(water: Water) -> Quantiles:
    """Total chlorine of the water as it comes, before it stands [mg/L as Cl2], of a water as it is
    `believed`."""
    free, combined = tap_chlorine(replace(water, standing_hours=0.0), _DRAWS)
    return quantiles_alike(free + combined)


def breakthrough_of(water: Water, known: SourceBelief) -> float:
    """Probability that a filter lets the raw water through, 0 to 1: it wears out with the litres
    that have passed its cartridge since they last told of it (Weibull's law, median life what the
    maker says; its shape 3 is our judgement)."""
    worn = _worn(water, known)
    return known.breakthrough + (1.0 - known.breakthrough) * (1.0 - math.pow(0.5, worn))


def _worn(water: Water, known: SourceBelief) -> float:
    if water.cartridge_litres is None:
        return 0.0
    now, tested_at = (n / water.cartridge_litres for n in (known.litres, known.litres_tested))
    return max(min(now, 10.0) ** 3 - min(tested_at, 10.0) ** 3, 0.0)


def share_of_cartridge(water: Water, known: SourceBelief | None) -> float | None:
    """How much of what its cartridge treats has passed it, as a share; None where not known."""
    known = current(water, known)
    if water.cartridge_litres is None:
        return None
    return 0.0 if known is None else known.litres / water.cartridge_litres


def passed(water: Water, known: SourceBelief | None, litres: float, time_s: float) -> SourceBelief:
    """After `litres` [L] more have passed the cartridge (fewer where a word is taken back)."""
    now = current(water, known) or as_configured(water, time_s)
    return now._replace(litres=max(now.litres + litres, 0.0))


def tested(
    water: Water,
    known: SourceBelief | None,
    kit_mg_l: float,
    time_s: float,
    free_mg_l: float | None = None,  # noqa: PT028 - no test function
) -> SourceBelief:
    """After a test of the source itself showed `kit_mg_l` of total chlorine [mg/L as Cl2], 0 or
    more, `free_mg_l` of it free. A result far off what was believed is believed: utilities
    change. The next one that agrees ends the surprise."""
    known = current(water, known)
    now = as_configured(water, time_s) if known is None else _later(known, water, time_s)
    if is_filtered(water):
        return _filter_tested(water, now, kit_mg_l, time_s)
    shown_mg_l = max(kit_mg_l, priors.KIT_FLOOR_MG_L)
    of_log = kit_sd(DPD_KIT, shown_mg_l) / shown_mg_l
    off = math.log(shown_mg_l) - now.log_mean
    before = max(now.log_sd**2, (off / _SURPRISE) ** 2 - of_log**2)
    gain = before / (before + of_log**2)
    shown_to_be = _shown_to_be(kit_mg_l, free_mg_l) or now.disinfectant
    other_kind = shown_to_be not in ("", now.disinfectant, water.disinfectant)
    other_kind = other_kind and bool(now.disinfectant or water.disinfectant != "unknown")
    surprises = abs(off) > _SURPRISE * math.hypot(now.log_sd, _DAY_TO_DAY, of_log)
    return now._replace(
        log_mean=now.log_mean + gain * off,
        log_sd=math.sqrt(before * (1.0 - gain)),
        taught=now.taught + 1,
        disinfectant=shown_to_be,
        changed=surprises or other_kind,
    )


def _filter_tested(water: Water, now: SourceBelief, kit_mg_l: float, time_s: float) -> SourceBelief:
    shows = kit_mg_l > priors.KIT_FLOOR_MG_L
    return now._replace(
        time_s=max(now.time_s, time_s),
        breakthrough=_BROKEN_THROUGH if shows else 0.5 * breakthrough_of(water, now),
        taught=now.taught + 1,
        litres_tested=now.litres,
        changed=shows,
    )


def _shown_to_be(total_mg_l: float, free_mg_l: float | None) -> Disinfectant | Literal[""]:
    """What free beside total chlorine [mg/L as Cl2] tells of the kind: chlorine is mostly free,
    chloramine hardly (common practice, no source); nothing where a kit sees too little."""
    if free_mg_l is None or total_mg_l < _TELLS_KIND_MG_L:
        return ""
    return "chlorine" if free_mg_l >= 0.5 * total_mg_l else "chloramine"


def taught_by_refill(
    water: Water, known: SourceBelief | None, tap_z: Array, weights: Array, time_s: float
) -> SourceBelief:
    """After a refill of `water`, as it was believed when it began, whose truth became known:
    `tap_z` (n,) are the particles' scores of the tap's strength, `weights` (n,) add up to one. It
    moves the mean by at most one standard deviation."""
    known = current(water, known)
    now = as_configured(water, time_s) if known is None else known
    if is_filtered(water):
        return now._replace(
            breakthrough=_BROKEN_THROUGH,
            taught=now.taught + 1,
            time_s=time_s,
            litres_tested=now.litres,
            changed=True,
        )
    sigma = tap_sigma(water)
    mean = float(tap_z @ weights)
    sd = math.sqrt(float((tap_z - mean) ** 2 @ weights))
    return now._replace(
        log_mean=math.log(water.residual_mg_l) + sigma * min(max(mean, -1.0), 1.0),
        log_sd=sigma * min(max(sd, _NARROWS_TO), 1.0),
        time_s=time_s,
        taught=now.taught + 1,
        changed=abs(mean) > _SURPRISE or now.changed,
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
    widest = max(known.log_sd, as_configured(water, time_s).log_sd)
    return known._replace(log_sd=min(grown, widest), time_s=max(time_s, known.time_s))
