"""The watch over one refill: a bank of stories, moved by physics and weighed by readings."""

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from afterfill.inference import doses, dynamics, response, weigh
from afterfill.inference.bank import DISTURBANCE, KIND, Bank, probability, with_electrode
from afterfill.inference.quantiles import quantiles_of
from afterfill.inference.resample import refreshed
from afterfill.inference.ridge import Ridge
from afterfill.inference.setup import Pour
from afterfill.records import Evidence, Quantiles, VerdictWord

_LONGEST_STEP_S = 120.0  # pours and lags last minutes
_TEMPERATURE_TELLS_S = 3600.0  # later, heater and room hide what a refill did
_NEW_STORIES_AFTER_S, _UNEXPLAINED_IN_A_ROW = 600.0, 4  # our judgement, as are the next two
_TEMPERATURE_EVERY_S = 60.0
_UNEXPLAINED_MV, _UNEXPLAINED_NOISES = 8.0, 4.0  # as a suspicion in quiet times
_ODDS_FLOOR = 1e-6  # a bank of hundreds cannot tell smaller odds


@dataclass(frozen=True, slots=True)
class Watch:
    """One refill, announced or suspected, with all stories about it.

    `zero_s`: Unix time that the bank's seconds count from; `tank_c`, `tank_ph`: before the pour;
    `poured_by_s`, `all_in_s`: Unix time by which nine in ten stories, or all, have their water in;
    `p_ever`, `p_now`: probability that the residual has exceeded the limit, or does now;
    `sighted_s`: how long the ORP has been seen since the pour; `moved_*`: natural-log odds of a
    carry-over that this source of evidence added; `kit_mg_l`: the highest chlorine a test showed;
    `warmed_s`: when the temperature was last looked at; `unexplained`: readings in a row far above
    what all stories expect; `said`: the last verdict; `refill_time_s`: the name of this
    refill in what is told of it, which a later word about its beginning does not change.
    """

    pour: Pour
    zero_s: float
    last_s: float
    bank: Bank
    limit_mg_l: float
    tank_c: float | None
    tank_ph: float | None
    poured_by_s: float
    all_in_s: float
    p_ever: float = 0.0
    p_now: float = 0.0
    sighted_s: float = 0.0
    moved_orp: float = 0.0
    moved_temperature: float = 0.0
    moved_ph: float = 0.0
    moved_kit: float = 0.0
    kit_mg_l: float = 0.0
    warmed_s: float = 0.0
    unexplained: int = 0
    ridge: Ridge | None = None
    said: VerdictWord | None = None
    reported: bool = False
    refill_time_s: float = 0.0


def advanced(
    watch: Watch,
    time_s: float,
    orp_mv: float | None,
    ph: float | None,
    temperature_c: float | None,
    hocl: float,
    noise_mv: float,
) -> Watch:
    """The watch at `time_s` [s], with an ORP reading [mV] or None when it cannot be used."""
    step_s = time_s - watch.last_s
    if step_s <= 0.0:
        return watch
    at_s, limit_mg_l = time_s - watch.zero_s, watch.limit_mg_l
    bank = _flowed(watch, time_s, hocl)
    odds = [log_odds(bank, limit_mg_l)]  # before, after the ORP, after the temperature
    unexplained = watch.unexplained
    if orp_mv is not None:
        bank, surprise_mv = weigh.weighed_by_orp(bank, orp_mv, ph, at_s, step_s, noise_mv)
        above = surprise_mv > _UNEXPLAINED_MV + _UNEXPLAINED_NOISES * noise_mv
        unexplained = unexplained + 1 if above else 0
        odds.append(log_odds(bank, limit_mg_l))
    else:
        bank = _unseen(bank, step_s)
    moved_orp = watch.moved_orp + odds[-1] - odds[0]
    moved_temperature, moved_ph, warmed_s = 0.0, 0.0, watch.warmed_s
    if _water_tells(watch, time_s):
        bank, moved_temperature, moved_ph = _told_by_water(watch, bank, temperature_c, ph, time_s)
        warmed_s = time_s
    sighted_s = 0.0 if orp_mv is None or at_s <= 0.0 else min(step_s, 300.0)
    return replace(
        watch,
        **_judged(refreshed(bank, at_s, ph, watch.ridge), limit_mg_l),
        last_s=time_s,
        sighted_s=watch.sighted_s + sighted_s,
        moved_orp=moved_orp,
        moved_temperature=watch.moved_temperature + moved_temperature,
        moved_ph=watch.moved_ph + moved_ph,
        warmed_s=warmed_s,
        unexplained=unexplained,
    )


def _judged(bank: Bank, limit_mg_l: float) -> dict[str, Any]:
    """The bank with the probabilities that it gives, as fields of a Watch."""
    return {
        "bank": bank,
        "p_ever": float(bank.weights @ (bank.peak > limit_mg_l)),
        "p_now": float(bank.weights @ (bank.residual > limit_mg_l)),
    }


def _flowed(watch: Watch, time_s: float, hocl: float) -> Bank:
    """Physics in steps short enough for pours and lags."""
    from_s, to_s = watch.last_s - watch.zero_s, time_s - watch.zero_s
    steps = min(max(math.ceil((to_s - from_s) / _LONGEST_STEP_S), 1), 120)
    bank, width_s = watch.bank, (to_s - from_s) / steps
    pouring = watch.last_s <= watch.all_in_s
    for number in range(steps):
        begin_s = from_s + number * width_s
        bank = dynamics.flowed(bank, begin_s, begin_s + width_s, pouring=pouring)
        bank = response.lagged(bank, hocl, width_s)
    return bank


def _unseen(bank: Bank, step_s: float) -> Bank:
    """The bank after `step_s` [s] without an ORP to hold its background."""
    grown = weigh.grown_var(bank, step_s)
    return with_electrode(bank, bank.response_mv, bank.base_mv, grown, bank.weights)


def _told_by_water(
    watch: Watch, bank: Bank, temperature_c: float | None, ph: float | None, time_s: float
) -> tuple[Bank, float, float]:
    """The bank after a look at temperature and pH, and by how much each moved the odds."""
    step_s = max(time_s - max(watch.warmed_s, watch.zero_s), 0.0)
    at_s, announced = time_s - watch.zero_s, watch.pour.announced
    odds = [log_odds(bank, watch.limit_mg_l)]
    for value, before, weighed in (
        (temperature_c, watch.tank_c, weigh.weighed_by_temperature),
        (ph, watch.tank_ph, weigh.weighed_by_ph),
    ):
        if value is not None and before is not None:
            bank = weighed(bank, value - before, before, at_s, step_s, announced=announced)
        odds.append(log_odds(bank, watch.limit_mg_l))
    return bank, odds[1] - odds[0], odds[2] - odds[1]


def _water_tells(watch: Watch, time_s: float) -> bool:
    """Once a minute while it can: what it says changes slowly."""
    due = time_s - watch.warmed_s >= _TEMPERATURE_EVERY_S
    return due and time_s - watch.zero_s <= _TEMPERATURE_TELLS_S


def tested(watch: Watch, kit_mg_l: float, ph: float | None, *, free_only: bool) -> Watch:
    """The watch after a chlorine test [mg/L as Cl2] of total or of free chlorine."""
    bank = weigh.weighed_by_kit(
        watch.bank, kit_mg_l, watch.bank.free if free_only else watch.bank.residual
    )
    moved = watch.moved_kit + log_odds(bank, watch.limit_mg_l) - log_odds_of(watch)
    seen_mg_l = max(watch.kit_mg_l, kit_mg_l)
    at_s = watch.last_s - watch.zero_s
    judged = _judged(refreshed(bank, at_s, ph), watch.limit_mg_l)
    return replace(watch, **judged, ridge=None, moved_kit=moved, kit_mg_l=seen_mg_l)


def dosed(watch: Watch, surplus_mg_l: float) -> Watch:
    """The watch after neutraliser for `surplus_mg_l` [mg/L as Cl2] went into the tank itself."""
    bank = watch.bank
    more = doses.as_believed(surplus_mg_l, bank.surplus.size)
    return replace(watch, bank=replace(bank, surplus=bank.surplus + more))


def over_same_refill(fresh: Watch, old: Watch) -> Watch:
    """The watch `fresh`, begun once more over the refill that `old` watched: same name, same
    words said of it."""
    return replace(fresh, refill_time_s=old.refill_time_s, reported=old.reported, said=old.said)


def needs_new_stories(watch: Watch) -> bool:
    """Whether the ORP has risen as no story of this watch explains: other water may have come.
    Not while the pour itself is on, and not when a carry-over is believed already."""
    settled = watch.last_s > watch.poured_by_s + _NEW_STORIES_AFTER_S
    return settled and watch.unexplained >= _UNEXPLAINED_IN_A_ROW and watch.p_now < 0.5


def probability_of_refill(watch: Watch) -> float:
    """Probability that water was poured at all."""
    return 1.0 if watch.pour.announced else probability(watch.bank, KIND != DISTURBANCE)


def evidence_of(watch: Watch) -> tuple[Evidence, ...]:
    """What moved the odds, by source, adding up to the log odds now. What is neither ORP,
    temperature, pH nor kit is the mass balance: volume, tap, dose and how often people forget."""
    told = watch.moved_orp + watch.moved_temperature + watch.moved_ph + watch.moved_kit
    parts = {
        "mass balance": log_odds_of(watch) - told,
        "orp": watch.moved_orp,
        "temperature": watch.moved_temperature,
        "ph": watch.moved_ph,
        "kit": watch.moved_kit,
    }
    return tuple(Evidence(source, value) for source, value in parts.items())


def log_odds_of(watch: Watch) -> float:
    """Natural-log odds of a carry-over now."""
    return log_odds(watch.bank, watch.limit_mg_l)


def log_odds(bank: Bank, limit_mg_l: float) -> float:
    """Natural-log odds that a member's peak is over the limit [mg/L], held within 1e-6."""
    p = probability(bank, bank.peak > limit_mg_l)
    p = min(max(p, _ODDS_FLOOR), 1.0 - _ODDS_FLOOR)
    return math.log(p / (1.0 - p))


def residual_of(watch: Watch) -> Quantiles:
    """Total residual oxidant now [mg/L as Cl2]."""
    return quantiles_of(watch.bank.residual, watch.bank.weights)


def peak_of(watch: Watch) -> Quantiles:
    """Highest residual so far in this watch [mg/L as Cl2]."""
    return quantiles_of(watch.bank.peak, watch.bank.weights)


def fraction_of(watch: Watch) -> Quantiles:
    """Share of the tank's volume that was poured, if any was; 0 when no member has any."""
    weights = watch.bank.weights * (watch.bank.traits.fraction > 0.0)
    return quantiles_of(watch.bank.traits.fraction, weights / max(float(np.sum(weights)), 1e-12))
