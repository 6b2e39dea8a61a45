"""What is believed now, as one record."""

import math

from afterfill.inference.ammonia import free_of, total_of
from afterfill.inference.belief import Belief
from afterfill.inference.conditions import hocl_at, ph_at, temperature_at
from afterfill.inference.model.electrode import LOGARITHMIC, ElectrodeLaw
from afterfill.inference.monitor import data_quality, watch
from afterfill.inference.monitor.baseline import READY_S, noise_of
from afterfill.inference.posterior.detection_limit import detection_limit_mg_l, trace_mg_l
from afterfill.inference.posterior.untold import untold
from afterfill.inference.setup import Setup
from afterfill.records import Estimate, Quantiles

_UNSEEN_PER_DAY = 0.03  # chance of an unannounced carry-over, while blind: judgement
_UNSEEN_LASTS_S = 6 * 3600.0  # how long chloramine stays in a stocked tank: judgement
_TRACE_AT_MOST_MG_L = 0.02  # noisier probes see less, and say so by their detection floor
_NOTHING = Quantiles(0.0, 0.0, 0.0)


def estimate(setup: Setup, belief: Belief, time_s: float) -> Estimate:
    """The belief at `time_s` [s] in the form of the interfaces, rounded to five digits."""
    blind = blind_because(belief, time_s)
    residual, free, combined = chlorine_of(belief, time_s)
    nh3 = free_ammonia_of(belief, time_s)
    limit_mg_l = detection_limit_now(setup, belief, time_s)
    floor = None if blind else limit_mg_l
    unknown = untold(setup, belief, time_s, limit_mg_l)
    return Estimate(
        time_s=time_s,
        tank=setup.tank,
        residual_mg_l=rounded(_at_least(residual, unknown.q95_mg_l)),
        free_chlorine_mg_l=rounded(free),
        combined_chlorine_mg_l=rounded(_at_least(combined, unknown.q95_mg_l)),
        total_ammonia_mg_l=rounded(total_of(belief.ammonia)),
        free_ammonia_mg_l=None if nh3 is None else rounded(nh3),
        p_over_limit=round_to_digits(either(p_over_limit(belief, time_s), unknown.p_over)),
        detection_floor_mg_l=None if floor is None else round_to_digits(floor),
        sees=blind is None,
        why_blind=blind,
    )


def blind_because(belief: Belief, time_s: float) -> str | None:
    """Why the ORP cannot be used, or None. A probe just met has no background to compare with."""
    why = data_quality.why_blind(belief.sight, time_s)
    if why is not None:
        return why
    to_go_s = learning_to_go_s(belief, time_s)
    return None if to_go_s is None else _learning(to_go_s)


def learning_to_go_s(belief: Belief, time_s: float) -> float | None:
    """How much more quiet must be seen before a probe just met can be used [s]; None when its
    level is known, a refill is watched, or the ORP cannot be used for another reason."""
    if belief.watch is not None or data_quality.why_blind(belief.sight, time_s) is not None:
        return None
    if belief.baseline is None:
        return READY_S
    return None if belief.baseline.ready() else belief.baseline.to_go_s()


def _learning(to_go_s: float) -> str:
    minutes = math.ceil(to_go_s / 60.0)
    return f"learning the quiet ORP of this tank: {minutes} min of quiet readings to go"


def free_ammonia_of(belief: Belief, time_s: float) -> Quantiles | None:
    """Un-ionised ammonia now [mg/L as N]; None without pH or temperature."""
    return free_of(belief.ammonia, ph_at(belief, time_s), temperature_at(belief, time_s))


def detection_limit_now(setup: Setup, belief: Belief, time_s: float) -> float:
    """Smallest residual [mg/L as Cl2] that would be called now with 95 % power."""
    announced = belief.watch is not None and belief.watch.pour.announced
    combined = setup.water.disinfectant != "chlorine"
    hocl = hocl_at(belief, time_s)
    noise_mv = noise_of(belief.baseline)
    return detection_limit_mg_l(belief.learnt, setup.law, noise_mv, announced, hocl, combined)


def either(*probabilities: float) -> float:
    """Probability that one or more of independent things hold."""
    return 1.0 - math.prod(1.0 - p for p in probabilities)


def p_over_limit(belief: Belief, time_s: float) -> float:
    """Probability that what was told of, suspected or missed while blind exceeds the limit now."""
    holding = belief.holding
    known = max((it.p_now for it in (holding, belief.earlier) if it is not None), default=0.0)
    return known if belief.watch is not None else max(known, _unseen(belief, time_s))


def chlorine_of(belief: Belief, time_s: float) -> tuple[Quantiles, Quantiles, Quantiles]:
    """Total, free and combined chlorine now [mg/L as Cl2]."""
    holding, trace_mg_l = belief.holding, 0.0
    if belief.watch is None:
        trace_mg_l = unseen_trace_mg_l(belief, time_s)
    if holding is None:
        left = Quantiles(0.0, 0.0, trace_mg_l)
        return left, _NOTHING, left
    total, free, combined = watch.chlorine_of(holding)
    if belief.earlier is not None:
        trace_mg_l = watch.residual_of(belief.earlier).q95
    return _at_least(total, trace_mg_l), free, _at_least(combined, trace_mg_l)


def _at_least(quantiles: Quantiles, upper: float) -> Quantiles:
    return Quantiles(quantiles.q05, quantiles.q50, max(quantiles.q95, upper))


def unseen_trace_mg_l(belief: Belief, time_s: float, law: ElectrodeLaw = LOGARITHMIC) -> float:
    """The residual [mg/L as Cl2] that quiet does not exclude. Without a refill it is unlikely to be
    there."""
    noise_mv = noise_of(belief.baseline)
    trace = trace_mg_l(belief.learnt, law, noise_mv, hocl_at(belief, time_s))
    return min(trace, _TRACE_AT_MOST_MG_L)


def _unseen(belief: Belief, time_s: float) -> float:
    """While blind, a carry-over could have come and still be there."""
    if data_quality.why_blind(belief.sight, time_s) is None:
        return 0.0
    since_s = time_s - (belief.sight.valid_s or time_s - _UNSEEN_LASTS_S)
    return _UNSEEN_PER_DAY * min(max(since_s, 600.0), _UNSEEN_LASTS_S) / 86400.0


def rounded(quantiles: Quantiles) -> Quantiles:
    """Each point to five significant digits: more would be noise, and bytes."""
    return Quantiles(*map(round_to_digits, quantiles))


def round_to_digits(value: float) -> float:
    """Five significant digits; below 1e-6 nothing."""
    return 0.0 if abs(value) < 1e-6 else float(f"{value:.5g}")
