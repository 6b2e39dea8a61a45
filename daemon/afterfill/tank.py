"""The fold: one tank's state and one record give the next state and what was found.

Chemistry, inference and alarms meet here and nowhere else. Live service, restart and replay call
`folded` with the same records in the same order and so find the same things, to the byte.
"""

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Literal

from afterfill import tank_bottle, tank_forecasts, tank_learnt, tank_sources
from afterfill.alarms import manager
from afterfill.alarms.definitions import DEFINITIONS
from afterfill.inference import step, words
from afterfill.inference.monitor import decision, watch
from afterfill.inference.posterior.estimate import (
    detection_limit_now,
    estimate,
    rounded,
    unseen_trace_mg_l,
)
from afterfill.inference.posterior.estimate import round_to_digits as short
from afterfill.inference.posterior.forecast import forecast_record
from afterfill.inference.posterior.present import Present, present
from afterfill.records import (
    AlarmChange,
    AlarmCommand,
    Calibration,
    Correction,
    Dose,
    Evidence,
    Input,
    KitResult,
    MachineState,
    Note,
    Output,
    Reading,
    Refill,
    RefillSeen,
    ResponseCheck,
    Service,
    SourceLearnt,
    SourceTest,
    Standing,
    Stock,
    StockLeft,
    Tick,
    Verdict,
    VerdictWord,
    known_since_s,
)
from afterfill.tank_blinded import blinded
from afterfill.tank_conditions import (
    advised,
    conditions_of,
    facts_once,
    readvised,
    with_context,
)
from afterfill.tank_lending import is_lent, lent
from afterfill.tank_readings import last_values, met
from afterfill.tank_ready import ready
from afterfill.tank_refills import answered, chlorine_tested, dosed, pour_of, poured, relation_of
from afterfill.tank_setup import TankSetup
from afterfill.tank_standing import stood
from afterfill.tank_state import TankState

__all__ = ["TankState", "folded"]

_JUDGED_EVERY_S = 60.0  # alarms in quiet times
_WATCHED_EVERY_S = 30.0  # verdict and alarms of a refill; at once when the particles have moved
_STANDING_EVERY_S = 60.0  # and at once with all news
_FORECAST_EVERY_S = 1800.0  # what is to come changes over hours
_REFILL_LIKELY = 0.5  # more likely than not: worth a word to the keeper
_WAIT_FOR_ORP_S = 30.0  # other readings wait so long for the ORP, then steps go on without it


def folded(
    setup: TankSetup, state: TankState, record: Input, every_s: float = 60.0
) -> tuple[TankState, list[Output]]:
    """The state after `record`, and what was found. `every_s`: between estimates given out.

    A record that the inference fails on leaves this tank blind, which the state says; other tanks
    and later records do not suffer.
    """
    try:
        after, found = _folded(setup, state, record, every_s)
        if tank_sources.has_news(state, after):
            found = [*found, *tank_sources.news(setup, after, known_since_s(record))]
        return after, found
    except MemoryError:
        raise
    except Exception as error:  # noqa: BLE001 - live, restart and replay must end alike
        return blinded(state, record, error), []


def _folded(
    setup: TankSetup, state: TankState, record: Input, every_s: float
) -> tuple[TankState, list[Output]]:
    setup = setup.at(record.time_s)
    if isinstance(record, Reading):
        return _after_reading(setup, state, record, every_s)
    time_s = known_since_s(record)
    if isinstance(record, Tick):
        return _after_step(setup, state, time_s, None, every_s)
    if isinstance(record, Note | Correction):
        return state, []  # a correction takes back what was folded: see `service/rewind.py`
    if isinstance(record, AlarmCommand):
        alarms, changes = manager.obey(state.alarms, record, time_s)
        return state._replace(alarms=alarms), list(changes)
    if isinstance(record, SourceLearnt):
        heard = tank_sources.heard(setup, state, record)
        return (state, []) if heard is state else _ready_too(setup, heard, [], time_s)
    if isinstance(record, StockLeft):
        left = tank_bottle.heard(setup, state.stock, record)
        same = left == state.stock
        return (state, []) if same else _ready_too(setup, state._replace(stock=left), [], time_s)
    if isinstance(record, MachineState):
        machine = {**state.context.machine, record.name: record}
        told = state._replace(context=replace(state.context, machine=machine))
        if state.belief.stepped_s is None:  # the first step judges all that was told by then
            return told, []
        told, changes = _judged(setup, told, present(told.belief, time_s))
        return told, list(changes)
    return _ready_too(setup, *_after_event(setup, state, record, time_s), time_s)


def _ready_too(
    setup: TankSetup, state: TankState, found: list[Output], time_s: float
) -> tuple[TankState, list[Output]]:
    """What a word led to, with whether a refill may begin now: an automation may ask at once. Not
    before the first reading told anything of that."""
    if state.ready is None:
        return state, found
    state, asked = ready(setup, state, present(state.belief, time_s))
    return state, [*found, *asked]


def _after_reading(
    setup: TankSetup, state: TankState, reading: Reading, every_s: float
) -> tuple[TankState, list[Output]]:
    if reading.value is not None and not math.isfinite(reading.value):
        reading = replace(reading, value=None, invalid="out-of-range")
    time_s, value, belief = reading.time_s, reading.value, state.belief
    if is_lent(state, reading.quantity, time_s):
        value = None
    if value is not None and reading.quantity == "ph":
        belief = step.with_ph(belief, value, time_s)
    if value is not None and reading.quantity == "temperature":
        belief = step.with_temperature(belief, value, time_s)
    is_orp, since_s = reading.quantity == "orp", state.waiting_s
    waiting_s = None if is_orp else time_s if since_s is None else since_s
    state = TankState(  # three times a step: replace() would cost four times as much
        belief, state.alarms, last_values(setup, state, reading), state.told_s, waiting_s,
        met(setup, state, reading), state.standing, state.judged_s, state.learnt,
        state.failures, state.failure, state.forecasts, state.stock, state.ready,
    )  # fmt: skip
    if is_orp:
        return _after_step(setup, state, time_s, value, every_s)
    if since_s is None or time_s - since_s < _WAIT_FOR_ORP_S:
        return state, []
    return _after_step(setup, state, time_s, None, every_s)


def _after_step(
    setup: TankSetup, state: TankState, time_s: float, orp_mv: float | None, every_s: float
) -> tuple[TankState, list[Output]]:
    if not step.is_due(state.belief, time_s):
        return state, []
    before, before_s = state.belief.watch, state.belief.stepped_s
    belief = step.stepped(setup.inference, state.belief, time_s, orp_mv)
    state, found = state.with_belief(belief), list[Output]()
    pace_s = _JUDGED_EVERY_S if belief.watch is None else _WATCHED_EVERY_S
    moved = belief.watch is not before or _comes_round(before_s, time_s, pace_s)
    if moved:
        state, found = _said(setup, state, time_s)
    state, changes = with_context(state, time_s), list[AlarmChange]()
    due = _comes_round(state.told_s, time_s, every_s)
    if not (moved or due):
        return tank_forecasts.remembered(setup, state, time_s), []
    now = present(state.belief, time_s)
    if moved:
        state, changes = _judged(setup, state, now)
    state, told = _told(setup, state, now, due=due, news=bool(found or changes))
    state = tank_forecasts.remembered(setup, state, time_s)
    return state, [*told, *found, *changes]


def _told(
    setup: TankSetup, state: TankState, moment: Present, *, due: bool, news: bool
) -> tuple[TankState, list[Output]]:
    """The estimate when it is due, how the tank stands when that has changed, and the day to come
    each half hour and with all news."""
    time_s = moment.time_s
    judges = news or _comes_round(state.judged_s, time_s, _STANDING_EVERY_S)
    if not (due or judges):
        return state, []
    now = estimate(setup.inference, state.belief, moment)
    ahead = news or _comes_round(state.told_s, time_s, _FORECAST_EVERY_S)
    told: list[Output] = []
    if judges:
        state, standing = stood(setup, state._replace(judged_s=time_s), now, moment)
        told += standing
        state, asked = ready(setup, state, moment)
        told += asked
        state, learnt = tank_learnt.told(setup, state, time_s)
        told += learnt
    if due:
        state = state._replace(told_s=time_s)
        told.append(now)
    if ahead or any(isinstance(output, Standing) for output in told):
        told.append(forecast_record(setup.inference, state.belief, time_s))
    return state, told


def _comes_round(told_s: float | None, time_s: float, every_s: float) -> bool:
    return told_s is None or time_s // every_s > told_s // every_s


def _floor(setup: TankSetup, state: TankState, time_s: float) -> Callable[[], float]:
    return lambda: detection_limit_now(setup.inference, state.belief, time_s)


def _said(setup: TankSetup, state: TankState, time_s: float) -> tuple[TankState, list[Output]]:
    """What is to be said about the refill under watch, and the watch's end."""
    state, found = _seen(state, setup.inference.tank)
    looking = state.belief.watch
    if looking is None:
        return state, []
    word = decision.word_for(looking, time_s, _floor(setup, state, time_s))
    rises = step.needs_new_particles(state.belief, time_s)
    over = rises or decision.is_over(looking, time_s)
    if over and word is None:
        word = looking.said or "cannot-tell"
    if word is not None and looking.reported and (over or word != looking.said):
        found.append(_verdict(setup, state, looking, time_s, word, final=over))
        looking = replace(looking, said=word)
    if looking is state.belief.watch and not over:
        return state, found
    belief = state.belief._replace(watch=looking)
    if rises:
        belief = step.with_new_particles(setup.inference, belief, time_s)
    elif over:
        belief = step.ended(belief, time_s)
        found += tank_sources.told(state.belief, belief, setup.inference.tank, time_s)
    return state._replace(belief=belief), found


def _seen(state: TankState, tank: str) -> tuple[TankState, list[Output]]:
    """Report a refill once: at once when announced, when it is likely if only suspected."""
    looking = state.belief.watch
    if looking is None or looking.reported:
        return state, []
    if watch.probability_of_refill(looking) <= _REFILL_LIKELY:
        return state, []
    announced = looking.pour.announced
    origin: Literal["announced", "inferred"] = "announced" if announced else "inferred"
    seen = RefillSeen(looking.last_s, tank, origin, rounded(watch.fraction_of(looking)))
    if not announced:
        context = replace(state.context, suspected_s=looking.refill_time_s)
        state = tank_forecasts.poured(state._replace(context=context), looking.refill_time_s)
    belief = state.belief._replace(watch=replace(looking, reported=True))
    return state._replace(belief=belief), [seen]


def _verdict(
    setup: TankSetup,
    state: TankState,
    looking: watch.Watch,
    time_s: float,
    word: VerdictWord,
    *,
    final: bool,
) -> Verdict:
    peak = watch.peak_of(looking)
    hidden_mg_l = unseen_trace_mg_l(state.belief, time_s, setup.inference.law)
    return Verdict(
        time_s,
        setup.inference.tank,
        looking.refill_time_s,
        word,
        short(looking.p_ever),
        rounded(peak._replace(q95=max(peak.q95, hidden_mg_l))),
        final,
        tuple(Evidence(e.source, short(e.log_odds)) for e in watch.evidence_of(looking)),
    )


def _judged(
    setup: TankSetup, state: TankState, now: Present
) -> tuple[TankState, list[AlarmChange]]:
    time_s = now.time_s
    facts = facts_once(setup, state, time_s)
    watching = state.belief.watch
    alarms, changes = manager.judge(
        state.alarms,
        conditions_of(setup, state, now),
        lambda alarm: DEFINITIONS[alarm].message(facts()),
        setup.inference.tank,
        time_s,
        None if watching is None or not watching.reported else watching.zero_s,
        lambda alarm: DEFINITIONS[alarm].advice(facts()),
    )
    if alarms is not state.alarms:
        state = state._replace(alarms=alarms)
    state, more = readvised(setup, state, time_s)
    return state, [*changes, *more]


def _after_event(
    setup: TankSetup,
    state: TankState,
    event: Refill | KitResult | SourceTest | Dose | Stock | Service | Calibration | ResponseCheck,
    time_s: float,
) -> tuple[TankState, list[Output]]:
    inference, belief, answers = setup.inference, state.belief, list[Output]()
    if isinstance(event, Refill):
        return _after_refill(setup, tank_forecasts.poured(state, event.time_s), event, time_s)
    if isinstance(event, KitResult):
        state, checks = tank_forecasts.answered(setup, state, event, time_s)
        answers += checks
        state = chlorine_tested(state, event)
        belief = words.tested(inference, belief, event, time_s)
    elif isinstance(event, SourceTest):
        belief = tank_sources.tested(setup, belief, event)
        learnt = tank_sources.told(state.belief, belief, inference.tank, time_s)
        return state._replace(belief=belief), list(learnt)
    elif isinstance(event, Stock):
        return _with_stock(state, tank_bottle.stocked(setup, state.stock, event, time_s))
    elif isinstance(event, Dose):
        left = tank_bottle.dosed(setup, state.stock, event, time_s)
        state, answers = _with_stock(state, left)
        state = dosed(setup, state, event, time_s)
        state = tank_forecasts.poured(state, event.time_s)
        belief = words.dosed(inference, belief, event.neutraliser_ml, event.time_s)
    elif isinstance(event, ResponseCheck):
        belief = words.response_checked(belief, event, time_s)
    elif isinstance(event, Calibration):
        maintained_s = {**state.context.maintained_s, event.quantity: event.time_s}
        return state._replace(context=replace(state.context, maintained_s=maintained_s)), []
    else:
        return _after_service(setup, state, event, time_s)
    state, changes = advised(setup, state._replace(belief=belief), time_s)
    return state, [*answers, *changes]


def _with_stock(state: TankState, left: StockLeft | None) -> tuple[TankState, list[Output]]:
    told = list[Output](tank_bottle.told(state.stock, left))
    return state._replace(stock=left), told


def _after_service(
    setup: TankSetup, state: TankState, work: Service, time_s: float
) -> tuple[TankState, list[Output]]:
    if work.quantity is not None and work.minutes is not None:
        state, told = lent(state, work, work.quantity, work.minutes, time_s)
        return state, list(told)
    if work.what == "probe":  # all of them where it is not said which
        quantities = (
            [work.quantity] if work.quantity else [*setup.every_s, *state.context.maintained_s]
        )
        looked_after = dict.fromkeys(quantities, work.time_s)
        maintained_s = {**state.context.maintained_s, **looked_after}
        state = state._replace(context=replace(state.context, maintained_s=maintained_s))
    alarms, changes = manager.announced(state.alarms, work, time_s)
    if work.quantity not in (None, "orp"):
        return state._replace(alarms=alarms), list(changes)
    belief = words.serviced(setup.inference, state.belief, work.what, time_s)
    return state._replace(belief=belief, alarms=alarms), list(changes)


def _after_refill(
    setup: TankSetup, state: TankState, refill: Refill, time_s: float
) -> tuple[TankState, list[Output]]:
    """New water ends the watch over the one before it with what is known by then."""
    pour = pour_of(setup, refill)
    said = relation_of(state, pour)
    closing = _closing(setup, state, time_s) if said == "new" else []
    watching = state.belief.watch
    before = said, None if watching is None else watching.pour
    left = tank_bottle.refilled(setup, state.stock, refill, before, time_s)
    state, booked = _with_stock(state, left)
    drawn = tank_sources.drawn(setup, state, pour, said)
    learnt = tank_sources.told(state.belief, drawn, setup.inference.tank, time_s)
    state = poured(setup, state._replace(belief=drawn), pour, time_s)
    state, changes = answered(state, setup.inference.tank, said, time_s)
    state, seen = _seen(state, setup.inference.tank)
    ahead: list[Output] = [forecast_record(setup.inference, state.belief, time_s)] if seen else []
    return state, [*closing, *learnt, *seen, *booked, *changes, *ahead]


def _closing(setup: TankSetup, state: TankState, time_s: float) -> list[Output]:
    old = state.belief.watch
    if old is None or not old.reported:
        return []
    word = decision.word_for(old, time_s, _floor(setup, state, time_s)) or old.said
    return [_verdict(setup, state, old, time_s, word or "cannot-tell", final=True)]
