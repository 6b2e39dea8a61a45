"""What a word about a refill does to a tank: new water, more about water under watch, or a late
word about water that the readings betrayed before."""

from dataclasses import replace

from afterfill.alarms import manager
from afterfill.inference import words
from afterfill.inference.monitor.announcements import NEAR_S, Relation, amended, relation
from afterfill.inference.setup import Pour
from afterfill.records import AlarmChange, AlarmCommand, Dose, KitResult, Refill
from afterfill.tank_conditions import left_of
from afterfill.tank_rescue import dose_needed_mg
from afterfill.tank_setup import TankSetup
from afterfill.tank_state import NeutraliserBook, TankState

_DOSE_FORGOTTEN_S = 10 * 3600.0  # most of an unknown surplus is used up by then
_ANSWER = "the refill was logged"


def pour_of(setup: TankSetup, refill: Refill) -> Pour:
    """The announced refill as the inference is told of it."""
    return Pour(
        time_s=refill.time_s,
        announced=True,
        water=setup.waters.get(refill.source or "", setup.inference.water),
        litres=refill.litres,
        minutes=refill.minutes,
        neutraliser_ml=refill.neutraliser_ml,
    )


def relation_of(state: TankState, pour: Pour) -> Relation | None:
    """What `pour` has to do with the water under watch; None when it is a late word about a refill
    that the readings betrayed and whose watch is over."""
    suspected_s = state.context.suspected_s
    said = relation(state.belief.watch, pour)
    if said == "new" and suspected_s is not None and abs(pour.time_s - suspected_s) < NEAR_S:
        watching = state.belief.watch
        if watching is None or watching.refill_time_s != suspected_s:
            return None
    return said


def poured(setup: TankSetup, state: TankState, pour: Pour, time_s: float) -> TankState:
    """The state after the word about `pour` became known at `time_s` [s]."""
    said = relation_of(state, pour)
    state = _with_book(setup, state, pour, said, time_s)
    if said is None:
        belief = words.word_on_closed_watch(setup.inference, state.belief, pour, time_s)
    else:
        belief = words.poured(setup.inference, state.belief, pour, time_s)
    return state._replace(belief=belief)


def answered(
    state: TankState, tank: str, said: Relation | None, time_s: float
) -> tuple[TankState, list[AlarmChange]]:
    """The alarm that asks who poured is answered by the log of that refill."""
    if said not in (None, "suspected"):
        return state, []
    command = AlarmCommand(time_s, tank, "refill-unannounced", "acknowledge", reason=_ANSWER)
    alarms, changes = manager.obey(state.alarms, command, time_s)
    return state._replace(alarms=alarms), changes


def _with_book(
    setup: TankSetup, state: TankState, pour: Pour, said: Relation | None, time_s: float
) -> TankState:
    """The state with the neutraliser of this refill in the book, once."""
    if said == "repeated":
        return state
    old = state.belief.watch
    if said == "amended" and old is not None:
        before = state.context.book_before
        if before is None:  # a dose was booked since, so what came before is not known any more
            return state
        pour = amended(old.pour, pour)
        state = state._replace(context=replace(state.context, book=before))
    needed_mg = None if pour.litres is None else pour.litres * pour.water.residual_mg_l
    before = state.context.book
    state = booked(setup, state, pour.neutraliser_ml, needed_mg, time_s)
    return state._replace(context=replace(state.context, book_before=before))


def booked(
    setup: TankSetup, state: TankState, ml: float | None, needed_mg: float | None, time_s: float
) -> TankState:
    """The state after `ml` of neutraliser for water that needed `needed_mg` [mg as Cl2] of it."""
    book = _after(setup, state.context.book, ml, needed_mg, time_s)
    return state._replace(context=replace(state.context, book=book, book_before=None))


def dosed(setup: TankSetup, state: TankState, dose: Dose, time_s: float) -> TankState:
    """The state after neutraliser went into the tank itself: as much of it as the rescue plan would
    give met a residual, or may have, and is no surplus."""
    needed_mg = dose_needed_mg(setup, state, time_s)
    state = booked(setup, state, dose.neutraliser_ml, needed_mg, time_s)
    book = replace(state.context.book, dosed_ml=dose.neutraliser_ml, dosed_s=dose.time_s)
    return state._replace(context=replace(state.context, book=book))


def chlorine_tested(state: TankState, kit: KitResult) -> TankState:
    """The state after a test of the tank's chlorine, which a dose may answer."""
    shown_mg_l = kit.total_chlorine_mg_l
    if shown_mg_l is None:
        shown_mg_l = kit.free_chlorine_mg_l
    if shown_mg_l is None:
        return state

    def tested(book: NeutraliserBook) -> NeutraliserBook:
        return replace(book, kit_mg_l=shown_mg_l, kit_s=kit.time_s)

    context = state.context
    before = None if context.book_before is None else tested(context.book_before)
    return state._replace(context=replace(context, book=tested(context.book), book_before=before))


def _after(
    setup: TankSetup,
    book: NeutraliserBook,
    ml: float | None,
    needed_mg: float | None,
    time_s: float,
) -> NeutraliserBook:
    strength = setup.inference.mg_cl2_per_ml
    if strength is None or ml is None or needed_mg is None:
        return replace(book, unknown_until_s=time_s + _DOSE_FORGOTTEN_S)
    added_mg_l = max(ml * strength - needed_mg, 0.0) / setup.inference.litres
    return replace(book, surplus_mg_l=left_of(book, time_s) + added_mg_l, time_s=time_s)
