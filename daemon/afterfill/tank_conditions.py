"""Which alarm conditions hold on one tank, from what is believed and remembered of it."""

import math
from collections.abc import Callable
from dataclasses import replace
from typing import NamedTuple

from afterfill.alarms import manager, rules
from afterfill.alarms.definitions import DEFINITIONS
from afterfill.alarms.machine_definitions import MACHINE
from afterfill.alarms.messages import Facts
from afterfill.inference import history
from afterfill.inference.belief import Belief
from afterfill.inference.conditions import ph_at, temperature_at
from afterfill.inference.model import priors
from afterfill.inference.model.parameters import is_filtered
from afterfill.inference.monitor.watch import Watch
from afterfill.inference.posterior.ammonia_ahead import ammonia_ahead
from afterfill.inference.posterior.estimate import estimate
from afterfill.inference.posterior.present import Present, present
from afterfill.inference.setup import Water
from afterfill.planning import practice
from afterfill.records import AlarmChange
from afterfill.tank_bottle import bottle_now
from afterfill.tank_rescue import dose_text, to_take_mg_l
from afterfill.tank_setup import TankSetup
from afterfill.tank_sources import believed_now, is_changed, is_test_overdue
from afterfill.tank_state import NeutraliserBook, PourContext, TankState

_HALF, _MUCH_MORE = 0.5, 1.25  # of a dose that was named: our judgement
_NAMES_A_DOSE = ("residual-oxidant", "residual-oxidant-possible", "refill-running-on")
_AHEAD_EVERY_S = 1800.0  # a filter's work changes over hours
_AHEAD_H = (1.0, 3.0, 6.0, 9.0, 12.0, 15.0, 18.0, 21.0, 24.0)  # a pH has its day
_BEFORE_S = (2700.0, 300.0)  # the pH before a pour is that of this span before it
_MIXED_S = 600.0  # after the announced end; common practice, no source


class ProbeTrouble(NamedTuple):
    """The quantities whose probe is silent, stands still, or shows what no tank has."""

    silent: tuple[str, ...]
    still: tuple[str, ...]
    odd: tuple[str, ...]


def with_context(state: TankState, time_s: float) -> TankState:
    """The state with what the alarms need to remember after a step."""
    watching, context = state.belief.watch, state.context
    if watching is not None:
        pour = context.pour
        if pour is None or pour.zero_s != watching.zero_s:
            pour = _pour_context(state.belief, watching)
        if pour.ended_c is None and _has_ended(watching, time_s):
            pour = replace(pour, ended_c=temperature_at(state.belief, time_s))
        if pour is not context.pour:
            context = replace(context, pour=pour)
    if context.ahead_mg_l is None or time_s - context.ahead_s >= _AHEAD_EVERY_S:
        ahead_mg_l = highest_ammonia_mg_l(state.belief, time_s)
        if ahead_mg_l is not None or context.ahead_mg_l is not None:
            context = replace(context, ahead_mg_l=ahead_mg_l, ahead_s=time_s)
    return state if context is state.context else state._replace(context=context)


def _pour_context(belief: Belief, watching: Watch) -> PourContext:
    from_s, to_s = (watching.zero_s - before_s for before_s in _BEFORE_S)
    ph = history.middle(history.span(belief.history, from_s, to_s)[:, history.PH])
    return PourContext(watching.zero_s, ph, watching.tank_c)


def _has_ended(watching: Watch, time_s: float) -> bool:
    minutes = watching.pour.minutes
    if minutes is None or not watching.pour.announced:
        return False
    return time_s >= watching.pour.time_s + 60.0 * minutes + _MIXED_S


def highest_ammonia_mg_l(belief: Belief, time_s: float) -> float | None:
    """Highest median of un-ionised ammonia within a day [mg/L as N], nothing poured; None when pH
    or temperature is not known."""
    ahead = ammonia_ahead(belief, time_s, _AHEAD_H)
    return max((nh3.q50 for nh3 in ahead if nh3 is not None), default=None)


def conditions_of(setup: TankSetup, state: TankState, now: Present) -> dict[str, bool | None]:
    """Every alarm's condition at the moment `now`; those of the machine only where it is told."""
    belief, active = state.belief, state.alarms.active
    time_s, sees, p_now, watching = now.time_s, now.sees, now.p_over_limit, belief.watch
    p_ever = 0.0 if watching is None else watching.p_ever
    nh3_mg_l = None if now.free_ammonia_mg_l is None else now.free_ammonia_mg_l.q50
    oxidant = rules.residual_oxidant(p_now, p_ever, sees, active("residual-oxidant"))
    possible = watching is not None and watching.said == "possible"
    trouble = probe_trouble(setup, state, time_s)
    limit_mg_l = setup.free_ammonia_limit_mg_l
    bottle = bottle_now(setup, state.stock, time_s)
    found: dict[str, bool | None] = {
        "residual-oxidant": oxidant,
        "residual-oxidant-possible": rules.residual_possible(
            p_now, possible, sees, oxidant is True
        ),
        "free-ammonia": rules.free_ammonia(nh3_mg_l, limit_mg_l, active("free-ammonia")),
        "free-ammonia-forecast": rules.free_ammonia_forecast(
            nh3_mg_l, state.context.ahead_mg_l, limit_mg_l, active("free-ammonia-forecast")
        ),
        "neutraliser-excess": rules.neutraliser_excess(
            surplus_mg_l(setup, state, time_s), _most_mg_l(setup.inference.water)
        ),
        "ph": rules.outside(now.ph, setup.ph_limits, rules.PH_DEADBAND, active("ph")),
        "temperature": rules.outside(
            now.temperature_c, setup.temperature_limits_c, rules.TEMPERATURE_DEADBAND_C,
            active("temperature"),
        ),
        "probe-lost": bool(trouble.silent),
        "probe-stuck": _of_probes(trouble.still, trouble.silent),
        "probe-implausible": _of_probes(trouble.odd, trouble.silent),
        "cannot-see": not sees and (active("cannot-see") or now.learning_s is None),
        "calibration-due": bool(due_probes(state, time_s)),
        "bottle-low": None if bottle is None else bottle.low,
        "source-changed": is_changed(setup, belief),
        "source-test-overdue": is_test_overdue(setup, state, time_s),
    }  # fmt: skip
    found.update(_of_refill(setup, state, time_s, sees))
    if setup.tells_machine:
        for it in MACHINE:
            told = state.context.machine.get(it.name)
            found[it.name] = None if told is None else told.holds
    return found


def _most_mg_l(water: Water) -> float:
    """The most chlorine that may come [mg/L as Cl2]: behind a filter the raw water's."""
    raw_mg_l = (water.raw_mg_l or priors.RAW_MG_L) if is_filtered(water) else 0.0
    return max(water.residual_max_mg_l, raw_mg_l)


def _of_refill(
    setup: TankSetup, state: TankState, time_s: float, sees: bool
) -> dict[str, bool | None]:
    watching = state.belief.watch
    if watching is None or not watching.reported:
        return {
            "refill-running-on": False,
            "refill-shock": False,
            "refill-unannounced": False if sees else None,
        }
    announced = watching.pour.announced
    return {
        "refill-running-on": _runs_on(setup, state, watching, time_s) if announced else False,
        "refill-shock": _shocks(state, watching, time_s),
        "refill-unannounced": not announced,
    }


def _runs_on(setup: TankSetup, state: TankState, watching: Watch, time_s: float) -> bool | None:
    pour, before = watching.pour, state.context.pour
    if before is None:
        return None
    share = None if pour.litres is None else min(pour.litres / setup.inference.litres, 1.0)
    now_c = temperature_at(state.belief, time_s)
    return rules.running_on(before.before_c, before.ended_c, now_c, pour.water.temperature_c, share)


def _shocks(state: TankState, watching: Watch, time_s: float) -> bool | None:
    if time_s > watching.poured_by_s + rules.SHOCK_LASTS_S:
        return False
    return rules.refill_shock(
        *steps_of(state, time_s), practice.PH_STEP, practice.TEMPERATURE_STEP_C
    )


def steps_of(state: TankState, time_s: float) -> tuple[float | None, float | None]:
    """How far pH and temperature [degrees C] have moved since the refill began."""
    pour = state.context.pour
    if pour is None:
        return None, None
    return (
        _step(ph_at(state.belief, time_s), pour.ph_before),
        _step(temperature_at(state.belief, time_s), pour.before_c),
    )


def _orp_step_mv(state: TankState) -> float | None:
    """How far the ORP stands over its quiet level [mV], which is kept while a refill is watched."""
    quiet, last = state.belief.baseline, state.last_values.get("orp")
    return None if quiet is None or last is None else _step(last.value, quiet.level_mv)


def _watched_min(state: TankState, time_s: float) -> float | None:
    watching = state.belief.watch
    return None if watching is None else (time_s - watching.zero_s) / 60.0


def _step(now: float | None, before: float | None) -> float | None:
    return None if now is None or before is None else now - before


def surplus_mg_l(setup: TankSetup, state: TankState, time_s: float) -> float | None:
    """Surplus of neutraliser by what was logged [mg/L as Cl2], used up by air and bacteria."""
    book = state.context.book
    if setup.inference.mg_cl2_per_ml is None or time_s < book.unknown_until_s:
        return None
    return left_of(book, time_s)


def left_of(book: NeutraliserBook, time_s: float) -> float:
    """What is left of the surplus in the book at `time_s` [mg/L as Cl2]."""
    if book.surplus_mg_l == 0.0:
        return 0.0
    hours = (time_s - book.time_s) / 3600.0
    return book.surplus_mg_l * math.exp(-priors.K_SURPLUS_PER_H * hours)


def probe_trouble(setup: TankSetup, state: TankState, time_s: float) -> ProbeTrouble:
    """What is the matter with the probes."""
    silent, still, odd = [], [], []
    fine = state.belief.sight.finest_mv < 0.5  # as the inference tells a fine probe
    for quantity, last in state.last_values.items():
        if time_s < state.context.lent.get(quantity, 0.0):
            continue  # it is out of the tank
        every_s = setup.every_s.get(quantity)
        if every_s is not None and time_s - last.usable_s > rules.silence_allowed_s(every_s):
            silent.append(quantity)
        elif last.odd:
            odd.append(quantity)
        elif time_s - last.since_s > rules.still_allowed_s(quantity, fine) and last.since_s:
            still.append(quantity)
    return ProbeTrouble(tuple(silent), tuple(still), tuple(odd))


def _of_probes(these: tuple[str, ...], silent: tuple[str, ...]) -> bool | None:
    """Whether a probe that is silent is sound cannot be told."""
    if these:
        return True
    return None if silent else False


def due_probes(state: TankState, time_s: float) -> list[str]:
    """The probes that were not looked after for long."""
    return [
        quantity
        for quantity, every_s in rules.CALIBRATE_EVERY_S.items()
        if time_s - state.context.maintained_s.get(quantity, time_s) > every_s
    ]


def facts_of(setup: TankSetup, state: TankState, time_s: float) -> Facts:
    """What the sentences of alarms are made of."""
    trouble, (ph_step, step_c) = probe_trouble(setup, state, time_s), steps_of(state, time_s)
    moment = present(state.belief, time_s)
    now = estimate(setup.inference, state.belief, moment)
    bottle = bottle_now(setup, state.stock, time_s)
    return Facts(
        now=now,
        residual_limit_mg_l=setup.inference.limit_mg_l,
        ammonia_limit_mg_l=setup.free_ammonia_limit_mg_l,
        ph_limits=setup.ph_limits,
        temperature_limits_c=setup.temperature_limits_c,
        ph=moment.ph,
        temperature_c=moment.temperature_c,
        ph_step=ph_step,
        step_c=step_c,
        orp_step_mv=_orp_step_mv(state),
        watched_min=_watched_min(state, time_s),
        surplus_mg_l=surplus_mg_l(setup, state, time_s),
        ahead_mg_l=state.context.ahead_mg_l,
        carried_over=None if state.belief.watch is None else state.belief.watch.p_ever,
        dose=lambda: dose_text(setup, state, now),
        residual_limit_source="" if setup.at_hand is None else setup.at_hand.bounds.residual_source,
        ammonia_limit_source=(
            "" if setup.at_hand is None else setup.at_hand.bounds.free_ammonia_source
        ),
        silent=trouble.silent,
        still=trouble.still,
        odd=trouble.odd,
        due=due_probes(state, time_s),
        bottle="" if bottle is None else bottle.words(),
        source=next(iter(believed_now(setup, state.belief, time_s)), None),
        machine={name: told.detail for name, told in state.context.machine.items()},
    )


def facts_once(setup: TankSetup, state: TankState, time_s: float) -> Callable[[], Facts]:
    """The facts, made when they are first asked for, if ever."""
    made: list[Facts] = []

    def facts() -> Facts:
        if not made:
            made.append(facts_of(setup, state, time_s))
        return made[0]

    return facts


def readvised(
    setup: TankSetup, state: TankState, time_s: float
) -> tuple[TankState, list[AlarmChange]]:
    """While an alarm names a dose: once more, when what it has to take has grown or fallen by much
    since."""
    named_mg_l = state.context.advised_mg_l
    if not any(state.alarms.active(name) for name in _NAMES_A_DOSE):
        if named_mg_l is not None:
            state = state._replace(context=replace(state.context, advised_mg_l=None))
        return state, []
    now_mg_l = to_take_mg_l(setup, state, time_s)
    if named_mg_l is not None and _HALF * named_mg_l <= now_mg_l <= _MUCH_MORE * named_mg_l:
        return state, []
    state = state._replace(context=replace(state.context, advised_mg_l=now_mg_l))
    return advised(setup, state, time_s)


def advised(
    setup: TankSetup, state: TankState, time_s: float
) -> tuple[TankState, list[AlarmChange]]:
    """After a dose or a test: what the alarms that hold say of a dose now."""
    facts, tank = facts_once(setup, state, time_s), setup.inference.tank
    alarms, changes = manager.advised(
        state.alarms, lambda alarm: DEFINITIONS[alarm].advice(facts()), tank, time_s
    )
    return state._replace(alarms=alarms), changes
