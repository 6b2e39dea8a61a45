"""The rescue plan of a tank from what is believed of it now: the dose that an alarm names, and the
dose that is needed by the book."""

from afterfill.chemistry.doses import dose_words
from afterfill.chemistry.standing import Interval
from afterfill.inference.conditions import ph_at, temperature_at
from afterfill.inference.posterior.estimate import chlorine_of
from afterfill.planning.asked import TankBefore
from afterfill.planning.found import Found, found_as_believed, found_by_kit
from afterfill.planning.rescue_words import AtHand, rescue_words, rescues
from afterfill.records import Estimate
from afterfill.tank_setup import TankSetup
from afterfill.tank_state import TankState

_TEST_HOLDS_S = 3600.0  # how long a test of chlorine counts beside the belief; our judgement
_DOSE_ACTS_S = 4 * 3600.0  # after a dose so long, only a test asks for more; our judgement


def dose_text(setup: TankSetup, state: TankState, now: Estimate) -> str:
    """What an alarm says about a dose: how much of what, or why none; empty without a plan."""
    at_hand, book = setup.at_hand, state.context.book
    if at_hand is None:
        return ""
    if _was_dosed(state, now.time_s):
        unit = at_hand.bottles[0].unit if len(at_hand.bottles) == 1 else "mL"
        return (
            f"{dose_words(book.dosed_ml, unit)} of neutraliser are logged as given: give no more "
            "before a DPD total-chlorine test, and log that; if it shows any pink, what is still "
            "needed is told here. Aerate while fish gasp"
        )
    total = Interval(*now.total_ammonia_mg_l)
    tank = TankBefore(
        setup.inference.litres,
        total,
        ph_at(state.belief, now.time_s),
        temperature_at(state.belief, now.time_s),
        at_hand.alkalinity_mg_l_caco3,
    )
    believed = Interval(*now.residual_mg_l), Interval(*now.free_chlorine_mg_l)
    found = _found(at_hand, state, believed, now.time_s)
    return rescue_words(at_hand, tank, found, rescues(at_hand, tank, found))


def _was_dosed(state: TankState, time_s: float) -> bool:
    """Whether a dose met this water, and no test has told since what it did. One that went in
    before the water came is part of what is believed."""
    book, watching = state.context.book, state.belief.watch
    if book.dosed_s <= book.kit_s or time_s - book.dosed_s >= _DOSE_ACTS_S:
        return False
    return watching is None or book.dosed_s >= watching.refill_time_s


def to_take_mg_l(setup: TankSetup, state: TankState, time_s: float) -> float:
    """The residual [mg/L as Cl2] that a dose would be for now; 0 where there is nothing to take."""
    if setup.at_hand is None:
        return 0.0
    total, free, _ = chlorine_of(state.belief, time_s)
    found = _found(setup.at_hand, state, (Interval(*total), Interval(*free)), time_s)
    nothing = found.nothing(setup.at_hand.bounds.residual_oxidant_mg_l)
    return 0.0 if nothing else found.upper.mg_l


def dose_needed_mg(setup: TankSetup, state: TankState, time_s: float) -> float:
    """Chlorine [mg as Cl2] that the rescue plan's dose for this tank takes now: so much of a dose
    meets, or may meet, a residual, and is no surplus. 0 where nothing is to be taken away."""
    at_hand, strength = setup.at_hand, setup.inference.mg_cl2_per_ml
    if at_hand is None or strength is None:
        return 0.0
    total, free, _ = chlorine_of(state.belief, time_s)
    found = _found(at_hand, state, (Interval(*total), Interval(*free)), time_s)
    plans = rescues(at_hand, TankBefore(setup.inference.litres), found)
    return max(plan.dose_ml or 0.0 for plan in plans) * strength


def _found(
    at_hand: AtHand, state: TankState, believed: tuple[Interval, Interval], time_s: float
) -> Found:
    """What is believed, or what a fresh test showed, whichever is more."""
    found, book = found_as_believed(*believed, at_hand.residual_most_mg_l), state.context.book
    if book.kit_mg_l > 0.0 and time_s - book.kit_s < _TEST_HOLDS_S and book.kit_s > book.dosed_s:
        tested = found_by_kit(book.kit_mg_l)
        return tested if tested.upper.mg_l > found.upper.mg_l else found
    return found
