"""What a tank's tests and refills teach of its source, and what others on that source have told."""

from typing import Any

from afterfill.inference import source, words
from afterfill.inference.belief import Belief
from afterfill.inference.model import priors
from afterfill.inference.monitor.announcements import Relation
from afterfill.inference.setup import Pour
from afterfill.inference.source import SourceBelief
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
    return words.source_tested(
        belief, water, shown_mg_l, test.time_s, None if total is None else free
    )


def drawn(setup: TankSetup, state: TankState, pour: Pour, said: Relation | None) -> Belief:
    """The belief after the water of `pour` has passed the cartridge of its source: what a word adds
    that `said` something new of it. Unknown litres count as a usual refill."""
    water, belief = pour.water, state.belief
    if water.cartridge_litres is None or said == "repeated":
        return belief
    litres = _litres_of(setup, pour)
    if said == "amended" and belief.watch is not None:
        litres -= _litres_of(setup, belief.watch.pour)
    known = source.passed(water, belief.sources.get(water.name), litres, pour.time_s)
    return belief._replace(sources={**belief.sources, water.name: known})


def _litres_of(setup: TankSetup, pour: Pour) -> float:
    return priors.FRACTION * setup.inference.litres if pour.litres is None else pour.litres


def told(before: Belief, after: Belief, tank: str, time_s: float) -> list[SourceLearnt]:
    """What has been learnt of the sources between two beliefs."""
    if after.sources is before.sources:
        return []
    return [
        SourceLearnt(time_s=time_s, tank=tank, source=name, **_as_told(now))
        for name, now in after.sources.items()
        if now != before.sources.get(name)
    ]


def _as_told(now: SourceBelief) -> dict[str, Any]:
    told = now._asdict()
    return {"learnt_s": told.pop("time_s"), **told}


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
    said = {field: getattr(record, field) for field in SourceBelief._fields if field != "time_s"}
    now = SourceBelief(time_s=record.learnt_s, **said)
    return state._replace(belief=belief._replace(sources={**belief.sources, name: now}))
