"""The watch over one refill: particles of all hypotheses, predicted and updated by readings."""

import math
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from afterfill.inference import doses
from afterfill.inference.filter.streams import Array
from afterfill.inference.model import observations
from afterfill.inference.model.electrode import ElectrodeLaw, lagged
from afterfill.inference.model.hypotheses import NEVER_POURS
from afterfill.inference.model.observations import ChlorineKit, Moment, Orp, WaterStep
from afterfill.inference.model.particles import (
    BACKGROUND_VAR,
    COMBINED,
    FRACTION,
    FREE,
    NEUTRALISER,
    PEAK,
    Particles,
)
from afterfill.inference.model.regularisation import Ridge, refreshed
from afterfill.inference.model.transition import predicted
from afterfill.inference.quantiles import quantiles_of, quantiles_of_each
from afterfill.inference.setup import Pour, Water
from afterfill.records import Evidence, Quantiles, VerdictWord

_LONGEST_STEP_S = 120.0  # pours and lags last minutes
_TEMPERATURE_TELLS_S = 3600.0  # later, heater and room hide what a refill did
_BEGIN_AGAIN_AFTER_S, _UNEXPLAINED_IN_A_ROW = 600.0, 4  # our judgement, as are the next two
_TEMPERATURE_EVERY_S = 120.0
_MOVED_MV, _MOVED_NOISES = 1.5, 2.0  # between two readings, worth a step at once: our judgement
_PAUSE_SHARE, _EARLY_S = 0.25, 0.5
_UNEXPLAINED_MV, _UNEXPLAINED_NOISES = 8.0, 4.0  # as a suspicion in quiet times
_PAST_EVERY_S, _PAST_LONGEST_S = 600.0, 5 * 86_400.0  # a past watch: decay takes hours
_SPENT_SHARE, _SPENT_P = 0.25, 0.003  # of the limit; chance that it is over it: our judgement
UNKNOWN_VAR = 200.0**2  # mV^2 of a background: a probe met for the first time
_UNDECIDED_S = 24 * 3600.0  # chloramine may stay for a day and more; our judgement
_ODDS_FLOOR = 1e-6  # some hundred particles cannot tell smaller odds


@dataclass(frozen=True, slots=True)
class Watch:
    """One refill, announced or suspected, with all particles that explain it.

    `zero_s`: Unix time that the particles' seconds count from; `tank_c`, `tank_ph`: before the
    pour, `trend_k_per_h`: how the tank warmed by itself; `poured_by_s`, `all_in_s`: Unix time by
    which nine in ten particles, or all, have their water in; `p_ever`, `p_now`: probability that
    the residual has exceeded the limit, or does now; `sighted_s`: how long the ORP has been seen
    since the pour; `moved_*`: natural-log odds of a carry-over that this source of evidence added;
    `kit_mg_l`: the highest chlorine a test showed; `warmed_s`: when the temperature was last looked
    at; `unexplained`: readings in a row far above what all particles expect; `orp_mv`: the last
    ORP [mV] that moved them; `said`: the last verdict; `refill_time_s`: the name of this refill in
    what is told of it, which a later word about its beginning does not change; `masked`: something
    else that oxidises is told of, so the ORP can give no all-clear; `before`: a few particles of
    the watch in whose water this one began, in case it has to begin again; `water`: the source's,
    as it was believed when the particles were drawn.
    """

    pour: Pour
    zero_s: float
    last_s: float
    particles: Particles
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
    orp_mv: float | None = None
    masked: bool = False
    trend_k_per_h: float = 0.0
    before: "Watch | None" = None
    water: Water = field(default_factory=Water)


class Seen(NamedTuple):
    """What is known at one moment: ORP [mV], pH and temperature [degrees C], None where it cannot
    be used; the share of HOCl, how fast ammonia binds chlorine [L/(mg s)], and the learnt noise of
    the ORP [mV]."""

    orp_mv: float | None
    ph: float | None
    temperature_c: float | None
    hocl: float
    binding: float
    noise_mv: float


def is_due(watch: Watch, time_s: float, orp_mv: float | None, noise_mv: float) -> bool:
    """Whether the particles should be moved on at `time_s` [s]: at once when the ORP [mV] has moved
    or stands where none expects it, else when a reading tells a quarter of an independent one."""
    if watch.unexplained or orp_mv is None or watch.orp_mv is None:
        return True
    if abs(orp_mv - watch.orp_mv) > _MOVED_NOISES * noise_mv + _MOVED_MV:
        return True
    paused_s = min(_PAUSE_SHARE * observations.correlated_s(time_s - watch.zero_s), _LONGEST_STEP_S)
    return time_s - watch.last_s >= paused_s - _EARLY_S


def past_is_due(past: Watch, time_s: float) -> bool:
    """Whether a past watch should be moved on at `time_s` [s]."""
    return time_s - past.last_s >= _PAST_EVERY_S


def advanced(watch: Watch, time_s: float, seen: Seen, law: ElectrodeLaw) -> Watch:
    """The watch at `time_s` [s]: prediction, then an update by each channel that can be used."""
    step_s = time_s - watch.last_s
    if step_s <= 0.0:
        return watch
    at_s, limit_mg_l = time_s - watch.zero_s, watch.limit_mg_l
    particles = _predicted(watch, time_s, seen, law)
    odds = [log_odds(particles, limit_mg_l)]  # before and after the ORP
    unexplained = watch.unexplained
    if seen.orp_mv is not None:
        moment = Moment(at_s, step_s, watch.pour.announced)
        channel = Orp(seen.noise_mv, seen.ph)
        particles, above_mv = channel.update(particles, seen.orp_mv, moment)
        above = above_mv > _UNEXPLAINED_MV + _UNEXPLAINED_NOISES * seen.noise_mv
        unexplained = unexplained + 1 if above else 0
        odds.append(log_odds(particles, limit_mg_l))
    else:
        particles = observations.unseen(particles, step_s)
    moved_temperature, moved_ph, warmed_s = 0.0, 0.0, watch.warmed_s
    if _water_tells(watch, time_s):
        particles, moved_temperature, moved_ph = _told_by_water(watch, particles, seen, time_s)
        warmed_s = time_s
    sighted_s = 0.0 if seen.orp_mv is None or at_s <= 0.0 else min(step_s, 300.0)
    return replace(
        watch,
        **_judged(refreshed(particles, at_s, seen.ph, watch.ridge), limit_mg_l),
        last_s=time_s,
        orp_mv=seen.orp_mv,
        sighted_s=watch.sighted_s + sighted_s,
        moved_orp=watch.moved_orp + odds[-1] - odds[0],
        moved_temperature=watch.moved_temperature + moved_temperature,
        moved_ph=watch.moved_ph + moved_ph,
        warmed_s=warmed_s,
        unexplained=unexplained,
    )


def _judged(particles: Particles, limit_mg_l: float) -> dict[str, Any]:
    """The particles with the probabilities that they give, as fields of a Watch."""
    weights = particles.weights
    return {
        "particles": particles,
        "p_ever": float(weights @ (particles.state[PEAK] > limit_mg_l)),
        "p_now": float(weights @ (observations.as_read(particles.residual) > limit_mg_l)),
    }


def _predicted(watch: Watch, time_s: float, seen: Seen, law: ElectrodeLaw) -> Particles:
    """Water and electrode in steps short enough for pours and lags."""
    from_s, to_s = watch.last_s - watch.zero_s, time_s - watch.zero_s
    longest_s = _LONGEST_STEP_S if watch.last_s <= watch.all_in_s + 3600.0 else _PAST_EVERY_S
    steps = min(max(math.ceil((to_s - from_s) / longest_s), 1), 120)
    particles, width_s = watch.particles, (to_s - from_s) / steps
    pouring = watch.last_s <= watch.all_in_s
    for number in range(steps):
        begin_s = from_s + number * width_s
        particles = predicted(
            particles, begin_s, begin_s + width_s, pouring=pouring, binding=seen.binding
        )
        particles = lagged(particles, law, seen.hocl, width_s)
    return particles


def _told_by_water(
    watch: Watch, particles: Particles, seen: Seen, time_s: float
) -> tuple[Particles, float, float]:
    """The particles after a look at temperature and pH, and by how much each moved the odds."""
    step_s = max(time_s - max(watch.warmed_s, watch.zero_s), 0.0)
    moment = Moment(time_s - watch.zero_s, step_s, watch.pour.announced)
    odds = [log_odds(particles, watch.limit_mg_l)]
    for value, channel in (
        (seen.temperature_c, _warmth(watch)),
        (seen.ph, None if watch.tank_ph is None else observations.acidity(watch.tank_ph)),
    ):
        if value is not None and channel is not None:
            particles = channel.update(particles, value, moment)
        odds.append(log_odds(particles, watch.limit_mg_l))
    return particles, odds[1] - odds[0], odds[2] - odds[1]


def _warmth(watch: Watch) -> WaterStep | None:
    if watch.tank_c is None:
        return None
    return observations.temperature(watch.tank_c, watch.trend_k_per_h)


def _water_tells(watch: Watch, time_s: float) -> bool:
    """Every other minute while it can: what it says changes slowly."""
    due = time_s - watch.warmed_s >= _TEMPERATURE_EVERY_S
    return due and time_s - watch.zero_s <= _TEMPERATURE_TELLS_S


def tested(watch: Watch, kit_mg_l: float, ph: float | None, *, free_only: bool) -> Watch:
    """The watch after a chlorine test [mg/L as Cl2] of total or of free chlorine."""
    before = watch.particles
    of = before.state[FREE] if free_only else before.residual
    particles = ChlorineKit(of).update(before, kit_mg_l)
    moved = watch.moved_kit + log_odds(particles, watch.limit_mg_l) - log_odds_of(watch)
    at_s = watch.last_s - watch.zero_s
    judged = _judged(refreshed(particles, at_s, ph), watch.limit_mg_l)
    seen_mg_l = max(watch.kit_mg_l, kit_mg_l)
    return replace(watch, **judged, ridge=None, moved_kit=moved, kit_mg_l=seen_mg_l)


def dosed(watch: Watch, surplus_mg_l: float) -> Watch:
    """The watch after neutraliser for `surplus_mg_l` [mg/L as Cl2] went into the tank itself."""
    particles = watch.particles
    more = doses.as_believed(surplus_mg_l, particles.weights.size)
    surplus = particles.state[NEUTRALISER] + more
    return replace(watch, particles=particles.with_rows(state={NEUTRALISER: surplus}))


def unmoored(watch: Watch) -> Watch:
    """The watch with a background that is not known any more."""
    n = watch.particles.weights.size
    unknown = {BACKGROUND_VAR: np.full(n, UNKNOWN_VAR)}
    return replace(watch, orp_mv=None, particles=watch.particles.with_rows(state=unknown))


def over_same_refill(fresh: Watch, old: Watch) -> Watch:
    """The watch `fresh`, begun once more over the refill that `old` watched: same name, same
    words said of it."""
    return replace(fresh, refill_time_s=old.refill_time_s, reported=old.reported, said=old.said)


def needs_new_particles(watch: Watch) -> bool:
    """Whether the ORP has risen as no particle of this watch explains: other water may have come.
    Not while the pour itself is on, and not when a carry-over is believed already."""
    settled = watch.last_s > watch.poured_by_s + _BEGIN_AGAIN_AFTER_S
    return settled and watch.unexplained >= _UNEXPLAINED_IN_A_ROW and watch.p_now < 0.5


def probability_of_refill(watch: Watch) -> float:
    """Probability that water was poured at all."""
    if watch.pour.announced:
        return 1.0
    groups = enumerate(watch.particles.groups)
    weights = watch.particles.weights
    return float(sum(weights[rows].sum() for n, rows in groups if n not in NEVER_POURS))


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
    return log_odds(watch.particles, watch.limit_mg_l)


def log_odds(particles: Particles, limit_mg_l: float) -> float:
    """Natural-log odds that the peak is over the limit [mg/L], held within 1e-6."""
    p = probability(particles, particles.state[PEAK] > limit_mg_l)
    p = min(max(p, _ODDS_FLOOR), 1.0 - _ODDS_FLOOR)
    return math.log(p / (1.0 - p))


def probability(particles: Particles, is_so: NDArray[np.bool_]) -> float:
    """Weight of the particles for which `is_so` (boolean, shape (n,)) holds, in [0, 1]."""
    return float(particles.weights @ is_so)


def residual_of(watch: Watch) -> Quantiles:
    """Total residual oxidant now [mg/L as Cl2], with the law's own doubt."""
    particles = watch.particles
    return quantiles_of(observations.as_read(particles.residual), particles.weights)


@lru_cache(maxsize=4)  # asked for each minute; a past watch moves on each ten
def chlorine_of(particles: Particles) -> tuple[Quantiles, Quantiles, Quantiles]:
    """Total, free and combined chlorine [mg/L as Cl2], with the law's own doubt."""
    free, combined = particles.state[FREE], particles.state[COMBINED]
    rows = (combined, free, free + combined) if free.any() else (combined,)
    found = quantiles_of_each([observations.as_read(row) for row in rows], particles.weights)
    free_now = found[1] if len(found) > 1 else Quantiles(0.0, 0.0, 0.0)
    return found[-1], free_now, found[0]


def believed_in(watch: Watch) -> Watch:
    """The watch itself or, where no refill was believed in, the one in whose water it began: that
    the ORP moved again is no reason to forget a refill."""
    return watch if watch.reported or watch.before is None else watch.before


def is_undecided(past: Watch, time_s: float) -> bool:
    """Whether a refill ended without an answer, and neither a test nor time gave one: an ORP that
    goes back may be the electrode's own way, and the water as it was."""
    if past.moved_kit != 0.0 or not past.reported:
        return False
    return past.said in ("cannot-tell", "possible") and time_s - past.zero_s < _UNDECIDED_S


def is_spent(watch: Watch, time_s: float) -> bool:
    """Whether nothing is left of a past watch that could matter."""
    if time_s - watch.zero_s > _PAST_LONGEST_S:
        return True
    if is_undecided(watch, time_s):
        return False
    nothing = residual_of(watch).q95 < _SPENT_SHARE * watch.limit_mg_l
    return nothing and watch.p_now < _SPENT_P


def peak_of(watch: Watch) -> Quantiles:
    """Highest residual so far in this watch [mg/L as Cl2]."""
    return quantiles_of(watch.particles.state[PEAK], watch.particles.weights)


def fraction_of(watch: Watch) -> Quantiles:
    """Share of the tank's volume that was poured, if any was; 0 when no particle has any."""
    fraction: Array = watch.particles.parameters[FRACTION]
    weights = watch.particles.weights * (fraction > 0.0)
    return quantiles_of(fraction, weights / max(float(np.sum(weights)), 1e-12))
