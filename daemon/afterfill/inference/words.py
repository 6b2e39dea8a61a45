"""What people and automations tell of a tank, taken into its belief: water, tests, doses, work."""

from collections.abc import Callable
from dataclasses import replace

from afterfill.inference import ammonia, doses, source, step
from afterfill.inference.belief import Belief
from afterfill.inference.calibration import learnt
from afterfill.inference.calibration.response_check import updated_by_check
from afterfill.inference.conditions import ph_at
from afterfill.inference.monitor import data_quality, habits, watch
from afterfill.inference.monitor.announcements import amended, relation
from afterfill.inference.monitor.begin import begun
from afterfill.inference.monitor.watch import Watch
from afterfill.inference.setup import Pour, Setup, Water
from afterfill.records import OXIDISING, KitResult, ResponseCheck

_OXIDISED_S = 12 * 3600.0  # a lamp's day, a treatment; our judgement
_DISTURBED_S = 3600.0  # feeding and cleaning move an ORP for about an hour; our judgement
_ACTED_S = 3600.0  # after neutraliser into the tank the ORP dips and comes back
_WORD_COMES_S = 5400.0  # the readings of a watch's beginning are still at hand


def poured(setup: Setup, belief: Belief, pour: Pour, time_s: float) -> Belief:
    """After an announced refill became known at `time_s` [s]. What is said of water that is under
    watch already amends its watch."""
    belief = _full(belief, pour.time_s)
    old, said = belief.watch, relation(belief.watch, pour)
    if old is None or said == "new":
        belief = _with_refilled_ammonia(setup, belief, pour, time_s)
        return step.watching(setup, belief, pour, time_s)
    if said == "repeated":
        return belief
    if said == "suspected":
        belief = _with_refilled_ammonia(setup, belief, pour, time_s)
    else:
        pour = amended(old.pour, pour)
        belief = _with_amended_ammonia(setup, belief, pour, time_s)
    # Readings are at hand to judge it by once more; a test's word is not, so its stories go on.
    before = belief
    if old.moved_kit == 0.0:
        before = belief._replace(watch=None, past=old.before)
    fresh = begun(setup, before, pour, time_s)
    return belief._replace(watch=watch.over_same_refill(fresh, old))


def word_on_closed_watch(setup: Setup, belief: Belief, pour: Pour, time_s: float) -> Belief:
    """After a late word about water whose watch is over: its readings have been judged."""
    return _with_refilled_ammonia(setup, _full(belief, pour.time_s), pour, time_s)


def _full(belief: Belief, time_s: float) -> Belief:
    """The belief that nothing untold of came before `time_s` [s]: it was filled up, or tested."""
    return belief._replace(full_s=max(belief.full_s or time_s, time_s))


def _as_believed(belief: Belief, pour: Pour) -> Pour:
    return replace(pour, water=belief.water_of(pour.water, pour.time_s))


def _with_refilled_ammonia(setup: Setup, belief: Belief, pour: Pour, time_s: float) -> Belief:
    belief = step.with_ammonia_at(belief, time_s)
    return belief._replace(
        ammonia=ammonia.refilled(belief.ammonia, _as_believed(belief, pour), setup.litres),
        unpoured=belief.ammonia,
        unpoured_s=time_s,
    )


def _with_amended_ammonia(setup: Setup, belief: Belief, pour: Pour, time_s: float) -> Belief:
    """The ammonia as if the refill had been told of so at once. A test since then knows better."""
    if belief.unpoured is None:
        return belief
    aged = ammonia.aged(belief.unpoured, time_s - belief.unpoured_s)
    return belief._replace(
        ammonia=ammonia.refilled(aged, _as_believed(belief, pour), setup.litres), ammonia_s=time_s
    )


def tested(setup: Setup, belief: Belief, kit: KitResult, time_s: float) -> Belief:
    """After a test-kit reading became known at `time_s` [s]."""
    if kit.total_ammonia_mg_l is not None:
        belief = step.with_ammonia_at(belief, time_s)
        tested_now = ammonia.tested(belief.ammonia, kit.total_ammonia_mg_l)
        belief = belief._replace(ammonia=tested_now, unpoured=None)
    total, free = kit.total_chlorine_mg_l, kit.free_chlorine_mg_l
    shown = free if total is None else total
    if shown is None:
        return belief
    if total is not None and total < step.KIT_SHOWS_MG_L:
        belief = _full(belief, kit.time_s)
    past = belief.past
    explained = past is not None and watch.residual_of(past).q95 >= 0.5 * shown
    if (
        belief.watch is None
        and not explained
        and max(total or 0.0, free or 0.0) >= step.KIT_SHOWS_MG_L
    ):
        suspect = Pour(kit.time_s, announced=False, water=setup.water)
        belief = step.watching(setup, belief, suspect, time_s)
    ph = ph_at(belief, time_s)
    return _with_particles(belief, lambda it: watch.tested(it, shown, ph, free_only=total is None))


def _with_particles(belief: Belief, change: Callable[[Watch], Watch]) -> Belief:
    """The belief with its watch, running and past, changed, and what the running one began in."""
    running, past = belief.watch, belief.past
    if running is not None and running.before is not None:
        running = replace(running, before=change(running.before))
    return belief._replace(
        watch=None if running is None else change(running),
        past=None if past is None else change(past),
    )


def dosed(setup: Setup, belief: Belief, neutraliser_ml: float, time_s: float) -> Belief:
    """After it became known that neutraliser [mL] went into the tank itself at `time_s` [s]."""
    belief = belief._replace(trusted_from_s=max(belief.trusted_from_s, time_s + _ACTED_S))
    if setup.mg_cl2_per_ml is None:
        return belief
    surplus_mg_l = neutraliser_ml * setup.mg_cl2_per_ml / setup.litres
    known = doses.appended(belief.doses, time_s, surplus_mg_l)
    belief = _with_particles(belief, lambda it: watch.dosed(it, surplus_mg_l))
    return belief._replace(doses=known)


def serviced(setup: Setup, belief: Belief, what: str, time_s: float) -> Belief:
    """After work on the probe, or feeding, cleaning or other work on the tank. What was learnt
    of a probe is forgotten when it is serviced: it may be another one."""
    if what == "probe":
        sight = data_quality.unsettled(belief.sight, time_s, "the ORP probe was serviced")
        fresh = learnt.Learnt()
        return step.unmoored(belief)._replace(sight=sight, baseline=None, learnt=fresh)
    if what in OXIDISING:
        told = (*belief.risen_s, *habits.as_told(time_s))
        belief = belief._replace(oxidised_until_s=time_s + _OXIDISED_S, risen_s=told)
        return _thought_over(setup, belief, time_s)
    return belief._replace(disturbed_until_s=time_s + _DISTURBED_S)


def _thought_over(setup: Setup, belief: Belief, time_s: float) -> Belief:
    """The belief with a young watch begun once more, now that something else is known that the ORP
    answers to. A test's word is kept: its particles go on."""
    old = belief.watch
    if old is None or old.moved_kit != 0.0 or time_s - old.zero_s > _WORD_COMES_S:
        return belief
    before = belief._replace(watch=None, past=old.before)
    fresh = begun(setup, before, old.pour, time_s)
    return belief._replace(watch=watch.over_same_refill(fresh, old))


def response_checked(belief: Belief, check: ResponseCheck, time_s: float) -> Belief:
    """After the ORP probe was held in conditioned and in raw water: what it taught is kept, the
    tank's own level must be found again."""
    sight = data_quality.unsettled(belief.sight, time_s, "the ORP probe's response was checked")
    taught = updated_by_check(belief.learnt, check)
    return step.unmoored(belief)._replace(sight=sight, baseline=None, learnt=taught)


def source_tested(
    belief: Belief, water: Water, kit_mg_l: float, time_s: float, free_mg_l: float | None = None
) -> Belief:
    """After a test of the source itself showed `kit_mg_l` of total chlorine [mg/L as Cl2],
    `free_mg_l` of it free."""
    known = source.tested(water, belief.sources.get(water.name), kit_mg_l, time_s, free_mg_l)
    return belief._replace(sources={**belief.sources, water.name: known})
