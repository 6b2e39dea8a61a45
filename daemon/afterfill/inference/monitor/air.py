"""What is done when a probe turns out to have been in the air, and when it is back in the water."""

from afterfill.inference import history
from afterfill.inference.belief import Belief
from afterfill.inference.conditions import ph_at, quiet_mv
from afterfill.inference.monitor import data_quality
from afterfill.inference.monitor.begin import begun
from afterfill.inference.monitor.data_quality import Sight
from afterfill.inference.monitor.watch import over_same_refill
from afterfill.inference.setup import Setup

_DOUBTED_S, _YOUNG_S = 420.0, 1800.0  # how long air goes unnoticed; our judgement
_DOUBTED_LONGEST_S, _BELOW_MV = 1800.0, 8.0  # the same for an ORP below its level
_SUSPECTS_AFTER_S = 120.0  # a surface that comes up to its level is no reason for a watch


def without_doubtful(setup: Setup, belief: Belief, time_s: float) -> Belief:
    """A probe that is seen to be in the air has been there for a while: what it showed in the last
    minutes is taken back, and a young watch begins again without it."""
    from_s = _left_water_s(belief, time_s)
    belief = belief._replace(history=history.without_orp(belief.history, from_s))
    return _begun_again(setup, belief, time_s)


def _left_water_s(belief: Belief, time_s: float) -> float:
    """Since when the ORP may have been shown in the air [s]: some minutes, or as long as it has
    been clearly below its level."""
    doubted_s, level_mv = time_s - _DOUBTED_S, quiet_mv(belief, ph_at(belief, time_s))
    if level_mv is None:
        return doubted_s
    rows = history.span(belief.history, time_s - _DOUBTED_LONGEST_S, time_s)
    near = rows[rows[:, history.ORP] >= level_mv - _BELOW_MV, history.TIME]
    left_s = float(near[-1]) + 0.001 if near.size else time_s - _DOUBTED_LONGEST_S
    return min(left_s, doubted_s)


def back_in_water(setup: Setup, belief: Belief, sight: Sight, time_s: float) -> Belief:
    """A probe that was in the air is back in the water: a young watch over what was announced
    begins again, with particles that know how a surface comes to its level."""
    if data_quality.back_s(sight, time_s) is None:
        return belief
    belief = belief._replace(trusted_from_s=max(belief.trusted_from_s, time_s + _SUSPECTS_AFTER_S))
    announced = belief.watch is not None and belief.watch.pour.announced
    if not announced:
        return belief
    return _begun_again(setup, belief._replace(sight=sight), time_s)


def _begun_again(setup: Setup, belief: Belief, time_s: float) -> Belief:
    old = belief.watch
    if old is None or old.zero_s < time_s - _YOUNG_S or old.moved_kit != 0.0:
        return belief
    fresh = begun(setup, belief._replace(watch=None, past=old.before), old.pour, time_s)
    return belief._replace(watch=over_same_refill(fresh, old))
