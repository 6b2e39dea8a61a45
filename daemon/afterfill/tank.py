"""The fold: one tank's state and one record give the next state and what was found.

Chemistry, inference and alarms meet here and nowhere else. Live service, restart and replay call
`folded` with the same records in the same order and so find the same things, to the byte.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

from afterfill.alarms import panel, rules
from afterfill.alarms.lifecycle import Memory
from afterfill.alarms.messages import message_of
from afterfill.inference import filter as belief_filter
from afterfill.inference import verdict, watch
from afterfill.inference.belief import Belief
from afterfill.inference.estimate import (
    blind_because,
    estimate,
    floor_now,
    free_ammonia_of,
    p_over_limit,
    rounded,
)
from afterfill.inference.estimate import round_to_digits as short
from afterfill.inference.setup import Pour
from afterfill.records import (
    AlarmChange,
    AlarmCommand,
    Dose,
    Evidence,
    Input,
    KitResult,
    Output,
    Quantity,
    Reading,
    Refill,
    RefillSeen,
    Service,
    Tick,
    Verdict,
    VerdictWord,
    known_since_s,
)
from afterfill.tank_setup import TankSetup

_REFILL_LIKELY = 0.5  # more likely than not: worth a word to the keeper
_WAIT_FOR_ORP_S = 30.0  # other readings wait so long for the ORP, then steps go on without it


@dataclass(frozen=True, slots=True)
class TankState:
    """`heard_s`: when each probe last gave a usable reading (or was first waited for); `told_s`:
    the time of the last estimate that was given out; `waiting_s`: since when other readings wait
    for the ORP to make a step with."""

    belief: Belief = field(default_factory=Belief)
    alarms: Mapping[str, Memory] = field(default_factory=panel.fresh_panel)
    heard_s: Mapping[str, float] = field(default_factory=dict)
    told_s: float | None = None
    waiting_s: float | None = None


def folded(
    setup: TankSetup, state: TankState, record: Input, every_s: float = 60.0
) -> tuple[TankState, list[Output]]:
    """The state after `record`, and what was found. `every_s`: between estimates given out."""
    time_s = known_since_s(record)
    if isinstance(record, Reading):
        return _after_reading(setup, state, record, every_s)
    if isinstance(record, Tick):
        return _after_step(setup, state, time_s, None, every_s)
    if isinstance(record, AlarmCommand):
        alarms, changes = panel.obey(state.alarms, record, time_s)
        return replace(state, alarms=alarms), list(changes)
    return _after_event(setup, state, record, time_s)


def _after_reading(
    setup: TankSetup, state: TankState, reading: Reading, every_s: float
) -> tuple[TankState, list[Output]]:
    time_s, value = reading.time_s, reading.value
    state = _heard(setup, state, reading)
    if value is not None and reading.quantity == "ph":
        state = replace(state, belief=belief_filter.with_ph(state.belief, value, time_s))
    if value is not None and reading.quantity == "temperature":
        warmer = belief_filter.with_temperature(state.belief, value, time_s)
        state = replace(state, belief=warmer)
    if reading.quantity == "orp":
        return _after_step(setup, replace(state, waiting_s=None), time_s, value, every_s)
    if state.waiting_s is None:
        return replace(state, waiting_s=time_s), []
    if time_s - state.waiting_s < _WAIT_FOR_ORP_S:
        return state, []
    return _after_step(setup, state, time_s, None, every_s)


def _heard(setup: TankSetup, state: TankState, reading: Reading) -> TankState:
    heard = {q: state.heard_s.get(q, reading.time_s) for q in (*setup.every_s, *state.heard_s)}
    if reading.value is not None:
        heard[reading.quantity] = reading.time_s
    return replace(state, heard_s=heard)


def _after_step(
    setup: TankSetup, state: TankState, time_s: float, orp_mv: float | None, every_s: float
) -> tuple[TankState, list[Output]]:
    if not belief_filter.is_due(state.belief, time_s):
        return state, []
    belief = belief_filter.stepped(setup.inference, state.belief, time_s, orp_mv)
    state, found = _said(setup, replace(state, belief=belief), time_s)
    state, changes = _judged(setup, state, time_s)
    told: list[Output] = []
    if state.told_s is None or time_s // every_s > state.told_s // every_s:
        state = replace(state, told_s=time_s)
        told = [estimate(setup.inference, state.belief, time_s)]
    return state, [*told, *found, *changes]


def _floor(setup: TankSetup, state: TankState, time_s: float) -> Callable[[], float]:
    return lambda: floor_now(setup.inference, state.belief, time_s)


def _said(setup: TankSetup, state: TankState, time_s: float) -> tuple[TankState, list[Output]]:
    """What is to be said about the refill under watch, and the watch's end."""
    looking = state.belief.watch
    if looking is None:
        return state, []
    looking, found = _seen(looking, setup.inference.tank)
    word = verdict.word_for(looking, time_s, _floor(setup, state, time_s))
    anew = watch.needs_new_stories(looking)
    over = anew or verdict.is_over(looking, time_s)
    if over and word is None:
        word = looking.said or "cannot-tell"
    if word is not None and looking.reported and (over or word != looking.said):
        found.append(_verdict(looking, setup.inference.tank, time_s, word, final=over))
        looking = replace(looking, said=word)
    belief = replace(state.belief, watch=looking)
    if anew:
        belief = belief_filter.with_new_stories(setup.inference, belief, time_s)
    elif over:
        belief = belief_filter.ended(belief, time_s)
    return replace(state, belief=belief), found


def _seen(looking: watch.Watch, tank: str) -> tuple[watch.Watch, list[Output]]:
    """Report a refill once: at once when announced, when it is likely if only suspected."""
    if looking.reported or watch.probability_of_refill(looking) <= _REFILL_LIKELY:
        return looking, []
    origin: Literal["announced", "inferred"] = "announced" if looking.pour.announced else "inferred"
    fraction = rounded(watch.fraction_of(looking))
    seen = RefillSeen(looking.pour.time_s, tank, origin, fraction)
    return replace(looking, reported=True), [replace(seen, time_s=looking.last_s)]


def _verdict(
    looking: watch.Watch, tank: str, time_s: float, word: VerdictWord, *, final: bool
) -> Verdict:
    return Verdict(
        time_s,
        tank,
        looking.pour.time_s,
        word,
        short(looking.p_ever),
        rounded(watch.peak_of(looking)),
        final,
        tuple(Evidence(e.source, short(e.log_odds)) for e in watch.evidence_of(looking)),
    )


def _judged(
    setup: TankSetup, state: TankState, time_s: float
) -> tuple[TankState, list[AlarmChange]]:
    belief, alarms = state.belief, state.alarms
    sees = blind_because(belief, time_s) is None
    nh3_mg_l = free_ammonia_of(belief, time_s)
    conditions = {
        "residual-oxidant": rules.residual_oxidant(
            p_over_limit(belief, time_s),
            0.0 if belief.watch is None else belief.watch.p_ever,
            sees,
            alarms["residual-oxidant"].active,
        ),
        "free-ammonia": rules.free_ammonia(
            None if nh3_mg_l is None else nh3_mg_l.q50,
            setup.free_ammonia_limit_mg_l,
            alarms["free-ammonia"].active,
        ),
        "probe-lost": bool(_silent(setup, state, time_s)),
        "cannot-see": not sees,
    }

    def describe(alarm: str) -> str:
        now = estimate(setup.inference, belief, time_s)
        return message_of(
            alarm, now, setup.inference.limit_mg_l, setup.free_ammonia_limit_mg_l,
            _silent(setup, state, time_s),
        )  # fmt: skip

    tank = setup.inference.tank
    alarms, changes = panel.judge(state.alarms, conditions, describe, tank, time_s)
    return replace(state, alarms=alarms), changes


def _silent(setup: TankSetup, state: TankState, time_s: float) -> list[Quantity]:
    """Probes that should have spoken and have not."""
    return [
        quantity
        for quantity, every_s in setup.every_s.items()
        if time_s - state.heard_s.get(quantity, time_s) > rules.silence_allowed_s(every_s)
    ]


def _after_event(
    setup: TankSetup,
    state: TankState,
    event: Refill | KitResult | Dose | Service,
    time_s: float,
) -> tuple[TankState, list[Output]]:
    inference, belief = setup.inference, state.belief
    if isinstance(event, Refill):
        return _after_refill(setup, state, event, time_s)
    if isinstance(event, KitResult):
        belief = belief_filter.tested(inference, belief, event, time_s)
    elif isinstance(event, Dose):
        belief = belief_filter.dosed(inference, belief, event.neutraliser_ml, time_s)
    else:
        belief = belief_filter.serviced(belief, event.what, time_s)
    return replace(state, belief=belief), []


def _after_refill(
    setup: TankSetup, state: TankState, refill: Refill, time_s: float
) -> tuple[TankState, list[Output]]:
    """A new refill ends the watch over the one before it with what is known by then."""
    inference = setup.inference
    pour = Pour(
        time_s=refill.time_s,
        announced=True,
        water=setup.waters.get(refill.source or "", inference.water),
        litres=refill.litres,
        minutes=refill.minutes,
        neutraliser_ml=refill.neutraliser_ml,
    )
    closing = _closing(setup, state, time_s)
    belief = belief_filter.poured(inference, state.belief, pour, time_s)
    looking, seen = _seen(belief.watch, inference.tank) if belief.watch else (None, [])
    return replace(state, belief=replace(belief, watch=looking)), [*closing, *seen]


def _closing(setup: TankSetup, state: TankState, time_s: float) -> list[Output]:
    old = state.belief.watch
    if old is None or not old.reported:
        return []
    word = verdict.word_for(old, time_s, _floor(setup, state, time_s)) or old.said
    return [_verdict(old, setup.inference.tank, time_s, word or "cannot-tell", final=True)]
