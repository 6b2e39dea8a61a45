"""What a tank's tests and refills teach of its source, and what others on that source have told."""

from typing import Any

from afterfill.alarms import rules
from afterfill.inference import source, words
from afterfill.inference.belief import Belief
from afterfill.inference.model import priors
from afterfill.inference.model.parameters import is_filtered
from afterfill.inference.monitor.announcements import Relation
from afterfill.inference.posterior.estimate import round_to_digits as short
from afterfill.inference.posterior.estimate import rounded
from afterfill.inference.setup import Pour, Water
from afterfill.inference.source import SourceBelief, is_news
from afterfill.records import SourceBelieved, SourceLearnt, SourceTest
from afterfill.tank_setup import TankSetup
from afterfill.tank_state import TankState

_DAY_S = 86_400.0


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


def has_news(before: TankState, after: TankState) -> bool:
    """Whether a record has changed what is believed of the sources, or a day has begun: what was
    learnt counts less with time, and a utility's day may have come."""
    if after.belief.sources is not before.belief.sources:
        return True
    told_s, now_s = before.judged_s, after.judged_s
    if now_s is None or told_s == now_s:
        return False
    return told_s is None or told_s // _DAY_S != now_s // _DAY_S


def news(setup: TankSetup, after: TankState, time_s: float) -> list[SourceBelieved]:
    """What is believed of the sources after such a record."""
    return believed_now(setup.at(time_s), after.belief, time_s)


def believed_now(setup: TankSetup, belief: Belief, time_s: float) -> list[SourceBelieved]:
    """What is believed at `time_s` [s] of the tank's own source, and of others that were met."""
    own = setup.inference.water
    met = [it for name, it in setup.waters.items() if name in belief.sources and name != own.name]
    return [_believed(setup, belief, it, time_s) for it in (own, *met) if it.name]


def told_again(
    setup: TankSetup, before: Belief, after: Belief, time_s: float, *, anyway: bool
) -> list[SourceLearnt]:
    """What is known of the sources at `time_s` [s] where `after` takes the place of `before`, since
    a word was corrected: each that was learnt otherwise, or not at all; `anyway`: all of them."""
    found = list[SourceLearnt]()
    for name in {**before.sources, **after.sources}:
        known = after.sources.get(name)
        if known == before.sources.get(name) and not anyway:
            continue
        if known is None:
            water = setup.waters.get(name, setup.inference.water)
            known = source.as_configured(water, time_s)
        found.append(
            SourceLearnt(
                time_s=time_s, tank=setup.inference.tank, source=name, corrected=True,
                **_as_told(known),
            )
        )  # fmt: skip
    return found


def is_changed(setup: TankSetup, belief: Belief) -> bool:
    """Whether the tank's own source was found to be another water, and no test has agreed since."""
    water = setup.inference.water
    known = source.current(water, belief.sources.get(water.name))
    return known is not None and known.changed


def is_test_overdue(setup: TankSetup, state: TankState, time_s: float) -> bool:
    """Whether nothing has told of the tank's own source for long; days count from the last test or
    refill that did, from its last change by the configuration, or from the first reading."""
    water = setup.inference.water
    if not water.name:
        return False
    known = source.current(water, state.belief.sources.get(water.name))
    met_s = time_s if state.context.met_s is None else state.context.met_s
    taught_s = known.time_s if known is not None and known.taught else 0.0
    return time_s - max(met_s, water.since_s, taught_s) > rules.SOURCE_TEST_EVERY_S


def _believed(setup: TankSetup, belief: Belief, water: Water, time_s: float) -> SourceBelieved:
    known = source.current(water, belief.sources.get(water.name))
    now = belief.water_of(water, time_s)
    share = source.share_of_cartridge(water, known)
    passes = source.breakthrough_of(water, known or source.as_configured(water, time_s))
    return SourceBelieved(
        time_s,
        setup.inference.tank,
        water.name,
        water.kind,
        now.disinfectant,
        rounded(source.level_of(now)),
        known.time_s if known is not None and known.taught else None,
        0 if known is None else known.taught,
        short(passes) if is_filtered(water) else None,
        None if share is None else short(share),
        known is not None and known.changed,
    )


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
    said = {field: getattr(record, field) for field in SourceBelief._fields if field != "time_s"}
    now = SourceBelief(time_s=record.learnt_s, **said)
    if record.corrected:
        return _corrected(state, name, now)
    if known is not None and record.told_by:
        water = setup.waters.get(name, setup.inference.water)
        now = _with_word(water, known, now)
    elif known is not None and known.time_s > now.time_s:
        return state
    if now == known:
        return state
    return state._replace(belief=belief._replace(sources={**belief.sources, name: now}))


def _corrected(state: TankState, name: str, now: SourceBelief) -> TankState:
    """What is known after a word was taken back, which may be nothing: then the configuration's
    word holds."""
    sources = {it: known for it, known in state.belief.sources.items() if it != name}
    if now.taught or now.litres:
        sources[name] = now
    if sources == state.belief.sources:
        return state
    return state._replace(belief=state.belief._replace(sources=sources))


def _with_word(water: Water, known: SourceBelief, word: SourceBelief) -> SourceBelief:
    """What is known after another service's word. Both draw through one cartridge: its litres never
    become fewer by a word, or it would seem younger than it is."""
    if source.current(water, word) is None:
        return known
    litres = max(known.litres, word.litres)
    if word.time_s < known.time_s or not is_news(known, word):
        return known._replace(litres=litres)
    return word._replace(litres=litres)
