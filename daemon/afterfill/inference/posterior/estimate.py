"""What is believed now, as one record."""

import math

from afterfill.inference.ammonia import total_of
from afterfill.inference.belief import Belief
from afterfill.inference.conditions import hocl_at
from afterfill.inference.model.electrode import LOGARITHMIC, ElectrodeLaw
from afterfill.inference.monitor import watch
from afterfill.inference.monitor.baseline import noise_of
from afterfill.inference.posterior.detection_limit import detection_limit_mg_l, trace_mg_l
from afterfill.inference.posterior.present import Present
from afterfill.inference.posterior.untold import untold
from afterfill.inference.setup import Setup
from afterfill.records import Estimate, Quantiles

_TRACE_AT_MOST_MG_L = 0.02  # noisier probes see less, and say so by their detection floor
_NOTHING = Quantiles(0.0, 0.0, 0.0)


def estimate(setup: Setup, belief: Belief, now: Present) -> Estimate:
    """The belief at the moment `now` in the form of the interfaces, rounded to five digits."""
    residual, free, combined = chlorine_of(belief, now.time_s)
    limit_mg_l = detection_limit_now(setup, belief, now.time_s)
    unknown = untold(setup, belief, now.time_s, limit_mg_l)
    nh3 = now.free_ammonia_mg_l
    return Estimate(
        time_s=now.time_s,
        tank=setup.tank,
        residual_mg_l=rounded(_at_least(residual, unknown.q95_mg_l)),
        free_chlorine_mg_l=rounded(free),
        combined_chlorine_mg_l=rounded(_at_least(combined, unknown.q95_mg_l)),
        total_ammonia_mg_l=rounded(total_of(belief.ammonia)),
        free_ammonia_mg_l=None if nh3 is None else rounded(nh3),
        p_over_limit=round_to_digits(either(now.p_over_limit, unknown.p_over)),
        detection_floor_mg_l=round_to_digits(limit_mg_l) if now.sees else None,
        sees=now.sees,
        why_blind=now.why_blind,
    )


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


def chlorine_of(belief: Belief, time_s: float) -> tuple[Quantiles, Quantiles, Quantiles]:
    """Total, free and combined chlorine now [mg/L as Cl2]."""
    holding, trace_mg_l = belief.holding, 0.0
    if belief.watch is None:
        trace_mg_l = unseen_trace_mg_l(belief, time_s)
    if holding is None:
        left = Quantiles(0.0, 0.0, trace_mg_l)
        return left, _NOTHING, left
    total, free, combined = watch.chlorine_of(holding.particles)
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


def rounded(quantiles: Quantiles) -> Quantiles:
    """Each point to five significant digits: more would be noise, and bytes."""
    return Quantiles(*map(round_to_digits, quantiles))


def round_to_digits(value: float) -> float:
    """Five significant digits; below 1e-6 nothing."""
    return 0.0 if abs(value) < 1e-6 else float(f"{value:.5g}")
