"""One step of belief: readings in, a moved belief out. The order of work is the order below."""

from dataclasses import replace

from afterfill.inference import ammonia, history, source
from afterfill.inference.belief import Belief
from afterfill.inference.calibration import learnt
from afterfill.inference.conditions import binding_at, hocl_at, ph_at, quiet_mv, temperature_at
from afterfill.inference.model.particles import TAP_Z
from afterfill.inference.monitor import (
    air,
    baseline,
    change_detection,
    daily_course,
    data_quality,
    habits,
    watch,
)
from afterfill.inference.monitor.baseline import noise_of
from afterfill.inference.monitor.begin import begun
from afterfill.inference.monitor.channels import Channel, believed_c
from afterfill.inference.monitor.decision import is_over
from afterfill.inference.monitor.filter_harm import working_share
from afterfill.inference.monitor.thinning import thinned
from afterfill.inference.monitor.watch import Watch
from afterfill.inference.setup import Pour, Setup
from afterfill.inference.source import SourceBelief

_PAST_PARTICLES = 128  # a probability to a hundredth, in a sixth of the bytes
_AMMONIA_EVERY_S = 300.0  # a filter's work takes hours
PACE_S = 10.0  # readings nearer together than this bring nothing new to a tank
_REARM_S = 300.0  # after a watch the level must be found again
_LIVABLE_PH, _LIVABLE_C = (4.0, 10.5), (1.0, 40.0)  # common practice, no source
_FOREIGN_CHILL_S = 600.0  # what was poured before a suspicion is nearly in by then
_OWN_CHILL_S, _CHILL_K = 1800.0, 0.5  # by then a pour's own chill is over; our judgement
KIT_SHOWS_MG_L = 0.05  # a kit's first step above zero; common practice, no source


def with_ph(belief: Belief, value: float, time_s: float) -> Belief:
    """After a valid pH reading. What no fish tank has is a fault of the probe, not a pH."""
    plausible = _LIVABLE_PH[0] <= value <= _LIVABLE_PH[1]
    return belief.with_ph(Channel(value if plausible else None, time_s))


def with_temperature(belief: Belief, value: float, time_s: float) -> Belief:
    """After a valid temperature reading [degrees C]; the same holds for what no fish bears, and a
    leap is not believed at once. One that stands is another probe: it shows no cold water."""
    if not _LIVABLE_C[0] <= value <= _LIVABLE_C[1]:
        return belief.with_temperature(Channel(None, time_s))
    now = believed_c(belief.temperature, value, time_s)
    if belief.baseline is not None and belief.temperature.is_another(now):
        still = belief.baseline._replace(warmth_c=None, slower_c=None, usual_c=None)
        return belief._replace(temperature=now, baseline=still)
    return belief.with_temperature(now)


def is_due(belief: Belief, time_s: float) -> bool:
    """Whether enough time has gone by for another step."""
    return belief.stepped_s is None or time_s - belief.stepped_s >= PACE_S


def stepped(setup: Setup, belief: Belief, time_s: float, orp_mv: float | None) -> Belief:
    """The belief at `time_s` [s] after an ORP reading [mV], or None where none came."""
    step_s = 0.0 if belief.stepped_s is None else time_s - belief.stepped_s
    ph, temperature_c = ph_at(belief, time_s), temperature_at(belief, time_s)
    sight, noise_mv = belief.sight, noise_of(belief.baseline)
    if orp_mv is not None:
        sight = data_quality.seen(sight, orp_mv, time_s, quiet_mv(belief, ph), noise_mv)
    usable = orp_mv if data_quality.why_blind(sight, time_s) is None else None
    if data_quality.has_gone_wild(belief.sight, sight, time_s):
        belief = air.without_doubtful(setup, belief, time_s)
    if usable is not None and data_quality.is_settled(sight, time_s, time_s - step_s):
        belief = air.back_in_water(setup, belief, sight, time_s)
    another = data_quality.is_another(belief.sight, sight, time_s)
    if another:
        sight = sight._replace(before_mv=None)
        belief = unmoored(_without_suspicion(belief))
    belief = _with_course(with_ammonia_at(belief, time_s, _AMMONIA_EVERY_S), time_s, ph)._replace(
        sight=sight,
        baseline=None if another else belief.baseline,
        stepped_s=time_s,
        full_s=time_s if belief.full_s is None else belief.full_s,
        history=history.appended(belief.history, time_s, usable, ph, temperature_c),
        watch=_watched(setup, belief, time_s, usable),
        past=_past(setup, belief, time_s, usable),
    )
    if belief.watch is not None:
        return belief
    if usable is None:
        return _blindly(setup, belief, time_s, step_s)
    return _quiet(setup, belief, time_s, usable)


def with_ammonia_at(belief: Belief, time_s: float, least_s: float = 0.0) -> Belief:
    """The belief with its ammonia aged to `time_s` [s], unless `least_s` have not gone by."""
    if belief.ammonia_s is None:
        return belief._replace(ammonia_s=time_s)
    since_s = time_s - belief.ammonia_s
    if since_s <= least_s:
        return belief
    working = working_share(belief.holding, time_s)
    aged = ammonia.aged(belief.ammonia, since_s, working)
    return belief._replace(ammonia=aged, ammonia_s=time_s)


def _with_course(belief: Belief, time_s: float, ph: float | None) -> Belief:
    """The belief with the pH of this hour taken into the tank's own day, now and then."""
    before_s = belief.stepped_s
    if ph is None or before_s is None:
        return belief
    if time_s // daily_course.EVERY_S == before_s // daily_course.EVERY_S:
        return belief
    course = daily_course.followed(belief.ph_course, ph, time_s, daily_course.EVERY_S)
    return belief._replace(ph_course=course)


def _blindly(setup: Setup, belief: Belief, time_s: float, step_s: float) -> Belief:
    """Where the ORP cannot be used, the temperature may still tell that water came."""
    if belief.baseline is None:
        return belief
    temperature_c = temperature_at(belief, time_s)
    felt = change_detection.felt(belief.baseline, temperature_c, setup.water.temperature_c)
    if change_detection.raised(felt) and time_s >= belief.trusted_from_s:
        suspect = Pour(time_s, announced=False, water=setup.water)
        belief = belief._replace(baseline=felt)
        return watching(setup, belief, suspect, time_s)
    return belief._replace(baseline=baseline.warmed(felt, temperature_c, step_s))


def _without_suspicion(belief: Belief) -> Belief:
    """What another probe's level suggested is nothing; what was reported gets its verdict."""
    old = belief.watch
    if old is None or old.reported:
        return belief
    return belief._replace(watch=None, past=old.before)


def _past(setup: Setup, belief: Belief, time_s: float, usable_mv: float | None) -> Watch | None:
    """What the last watch left, now and then moved on: it decays, and the ORP still tells of it."""
    past = belief.past
    if past is None or not watch.past_is_due(past, time_s):
        return past
    later = watch.advanced(past, time_s, _seen(belief, time_s, usable_mv), setup.law)
    return None if watch.is_spent(later, time_s) else later


def _seen(belief: Belief, time_s: float, usable_mv: float | None) -> watch.Seen:
    return watch.Seen(
        usable_mv, ph_at(belief, time_s), temperature_at(belief, time_s), hocl_at(belief, time_s),
        binding_at(belief, time_s), noise_of(belief.baseline),
    )  # fmt: skip


def _watched(setup: Setup, belief: Belief, time_s: float, usable_mv: float | None) -> Watch | None:
    """The running watch at `time_s`, if there is one."""
    noise_mv = noise_of(belief.baseline)
    if belief.watch is None or not watch.is_due(belief.watch, time_s, usable_mv, noise_mv):
        return belief.watch
    later = watch.advanced(belief.watch, time_s, _seen(belief, time_s, usable_mv), setup.law)
    before = later.before
    if before is None or not watch.past_is_due(before, time_s):
        return later
    unseen = _seen(belief, time_s, None)  # the ORP is asked about the new water
    return replace(later, before=watch.advanced(before, time_s, unseen, setup.law))


def _quiet(setup: Setup, belief: Belief, time_s: float, orp_mv: float) -> Belief:
    temperature_c = temperature_at(belief, time_s)
    ph = ph_at(belief, time_s)
    level_mv = baseline.corrected_mv(orp_mv, ph, belief.learnt.ph_slope_mv)
    if belief.baseline is None:
        return belief._replace(baseline=baseline.begun(level_mv, time_s))
    looked = change_detection.looked(
        belief.baseline, level_mv, temperature_c, setup.water.temperature_c
    )
    if change_detection.raised(looked) and time_s >= belief.trusted_from_s:
        suspect = Pour(time_s, announced=False, water=setup.water)
        belief = belief._replace(baseline=looked)
        begun_watch = watching(setup, belief, suspect, time_s)
        return begun_watch._replace(risen_s=habits.appended(belief.risen_s, time_s))
    return belief._replace(
        baseline=baseline.followed(looked, level_mv, temperature_c, time_s),
        learnt=learnt.in_quiet(belief.learnt, orp_mv, ph, time_s),
    )


def needs_new_particles(belief: Belief, time_s: float) -> bool:
    """Whether water may have come that no particle of the running watch knows of: the ORP has risen
    as none explains, or the tank's temperature was driven off long after the pour."""
    old = belief.watch
    if old is None:
        return False
    return watch.needs_new_particles(old) or _chilled(belief, old, time_s)


def _chilled(belief: Belief, old: watch.Watch, time_s: float) -> bool:
    usual_c = None if belief.baseline is None else belief.baseline.usual_c
    looked_s = history.last_s(belief.history)
    if looked_s is None or time_s // 60.0 == looked_s // 60.0:
        return False  # once a minute is enough
    last_c = belief.temperature.value
    if usual_c is None or last_c is None or abs(last_c - usual_c) <= 0.5 * _CHILL_K:
        return False  # what moves by so much and away from the usual ends farther off
    if old.p_now >= 0.5 or time_s < _own_chill_until_s(belief, old, usual_c):
        return False
    now_c, before_c = (
        history.middle(history.span(belief.history, time_s - a, time_s - b)[:, history.TEMPERATURE])
        for a, b in ((180.0, -0.001), (1500.0, 600.0))
    )
    if now_c is None or before_c is None or abs(now_c - before_c) <= _CHILL_K:
        return False
    return abs(now_c - usual_c) > abs(before_c - usual_c)


def _own_chill_until_s(belief: Belief, old: watch.Watch, usual_c: float) -> float:
    """Until when a watch explains cold water by its own pour: only some minutes where hardly any
    particle has water and the tank had not cooled when it began."""
    near = history.span(belief.history, old.zero_s - 60.0, old.zero_s + 60.0)
    began_c = history.middle(near[:, history.TEMPERATURE])
    warm = began_c is not None and abs(began_c - usual_c) <= _CHILL_K
    if warm and watch.probability_of_refill(old) < 0.5:
        return old.zero_s + _FOREIGN_CHILL_S
    return old.poured_by_s + _OWN_CHILL_S


def with_new_particles(setup: Setup, belief: Belief, time_s: float) -> Belief:
    """The belief with a watch over water that may have come while another watch ran; its particles
    begin in the old ones' water and electrodes."""
    suspect = Pour(time_s, announced=False, water=setup.water)
    return watching(setup, belief, suspect, time_s)


def watching(setup: Setup, belief: Belief, pour: Pour, time_s: float) -> Belief:
    """The belief with a new watch over `pour`, whose particles take over what is in the tank."""
    return belief._replace(watch=begun(setup, belief, pour, time_s), past=None)


def ended(belief: Belief, time_s: float) -> Belief:
    """The belief with its watch closed, its ORP baseline to be found again."""
    old = belief.watch
    if old is None:
        return belief
    known = old.kit_mg_l >= KIT_SHOWS_MG_L
    return belief._replace(
        watch=None,
        past=_left_by(old, time_s),
        unpoured=None,
        learnt=learnt.updated(belief.learnt, old.particles) if known else belief.learnt,
        sources=_sources_after(belief, old, time_s) if known else belief.sources,
        baseline=_baseline_after(belief, time_s),
        trusted_from_s=time_s + _REARM_S,
    )


def _sources_after(belief: Belief, old: Watch, time_s: float) -> dict[str, SourceBelief]:
    """What is known of the sources after a watch whose truth became known."""
    name, particles = old.water.name, old.particles
    known = belief.sources.get(name)
    taught = source.taught_by_refill(
        old.water, known, particles.parameters[TAP_Z], particles.weights, time_s
    )
    return {**belief.sources, name: taught}


def _left_by(old: Watch, time_s: float) -> Watch | None:
    """What goes on when a watch ends."""
    left = watch.believed_in(old)
    return None if watch.is_spent(left, time_s) else thinned(left, _PAST_PARTICLES)


def _baseline_after(belief: Belief, time_s: float) -> baseline.Baseline | None:
    recent = history.span(belief.history, time_s - 600.0, time_s + 0.001)[:, history.ORP]
    level_mv = history.middle(recent)
    if level_mv is None:
        return belief.baseline
    slope_mv = belief.learnt.ph_slope_mv
    corrected = baseline.corrected_mv(level_mv, ph_at(belief, time_s), slope_mv)
    fresh = baseline.begun(corrected, time_s, noise_of(belief.baseline))
    fresh = fresh._replace(seen_s=baseline.READY_S)  # the watch itself was the quiet time
    old = belief.baseline
    return fresh if old is None else fresh._replace(usual_c=old.usual_c, usual_mv=old.usual_mv)


def watch_is_over(belief: Belief, time_s: float) -> bool:
    """Whether there is a watch and it has come to its end."""
    return belief.watch is not None and is_over(belief.watch, time_s)


def unmoored(belief: Belief) -> Belief:
    """The belief with a past watch whose background is no longer known: another probe, or one that
    has been in a hand, shows its own."""
    past = belief.past
    return belief if past is None else belief._replace(past=watch.unmoored(past))
