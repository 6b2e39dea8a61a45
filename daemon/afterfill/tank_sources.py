"""What a tank's tests and refills teach of its source, and what others on that source have told."""

from afterfill.inference import words
from afterfill.inference.belief import Belief
from afterfill.inference.source import SourceBelief, is_news
from afterfill.records import SourceLearnt, SourceTest
from afterfill.tank_setup import TankSetup
from afterfill.tank_state import TankState


def tested(setup: TankSetup, belief: Belief, test: SourceTest) -> Belief:
    """The belief after a test of the source. Free chlorine alone is at least what is there; a name
    that is none of the configuration's teaches nothing."""
    name, total, free = test.source, test.total_chlorine_mg_l, test.free_chlorine_mg_l
    water = setup.inference.water if name is None else setup.waters.get(name)
    shown_mg_l = max(mg_l for mg_l in (total, free, 0.0) if mg_l is not None)
    if water is None or (total is None and water.disinfectant != "chlorine"):
        return belief  # of chloramine, free chlorine tells nothing
    return words.source_tested(belief, water, shown_mg_l, test.time_s)


def told(before: Belief, after: Belief, tank: str, time_s: float) -> list[SourceLearnt]:
    """What has been learnt of the sources between two beliefs."""
    if after.sources is before.sources:
        return []
    return [
        SourceLearnt(
            time_s, tank, name, now.log_mean, now.log_sd, now.time_s, now.taught, now.breakthrough
        )
        for name, now in after.sources.items()
        if now != before.sources.get(name)
    ]


def heard(setup: TankSetup, state: TankState, record: SourceLearnt) -> TankState:
    """The state after another tank on the same source has learnt of it, or this one before a
    restart. What is older than what is known here, or of a source that this tank cannot draw from,
    changes nothing."""
    belief, name = state.belief, record.source
    known = belief.sources.get(name)
    if name not in {*setup.waters, setup.inference.water.name}:
        return state
    if known is not None and known.time_s > record.learnt_s:
        return state
    now = SourceBelief(
        record.log_mean, record.log_sd, record.learnt_s, record.taught, record.breakthrough
    )
    if record.told_by and known is not None and not is_news(known, now):
        return state
    return state._replace(belief=belief._replace(sources={**belief.sources, name: now}))
