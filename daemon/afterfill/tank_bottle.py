"""The bottle: what is left of a tank's neutraliser by what was logged, and whether it will do.

Arithmetic of what people and automations told, and never evidence that a dose was given: the
inference knows nothing of it.
"""

from dataclasses import replace
from functools import lru_cache
from statistics import median
from typing import Any, NamedTuple

from afterfill.chemistry.doses import DoseUnit, dose_words
from afterfill.inference.monitor.announcements import Relation
from afterfill.inference.setup import Pour
from afterfill.planning.asked import Asked, Tap
from afterfill.records import Dose, Refill, Stock, StockLeft
from afterfill.tank_setup import BottleKept, TankSetup
from afterfill.wire import rfc3339

_REFILLS = 5  # whose median is a usual one; our judgement


class BottleNow(NamedTuple):
    """What is known of the bottle now. `left_ml` and `usual_ml` [mL], times in Unix s, None where
    not known; `untold`: refills since the count whose amount was not told, so that `left_ml` is the
    most there can be; `low`: it will not do for the next usual refill, or is past its time; None:
    cannot be told."""

    neutraliser: str
    left_ml: float | None
    untold: int
    usual_ml: float | None
    opened_s: float | None
    keeps_until_s: float | None
    past: bool
    low: bool | None
    unit: DoseUnit = "mL"

    def words(self) -> str:
        """What is left, and until when it keeps, in one clause."""
        if self.left_ml is None:
            held = f"how much neutraliser '{self.neutraliser}' is left is not known"
        else:
            usual = (
                ""
                if self.usual_ml is None
                else f"; a usual refill takes {self.amount(self.usual_ml)}"
            )
            held = f"neutraliser '{self.neutraliser}': {self.held()}{usual}"
        kept = self.kept()
        return f"{held}; {'past its time: ' if self.past else ''}{kept}" if kept else held

    def amount(self, amount: float) -> str:
        """So much of it, as its label counts."""
        return dose_words(round(amount, 2), self.unit)

    def kept(self) -> str:
        """``opened 2026-03-01, keeps until 2026-08-31``; empty where that is not known."""
        if self.opened_s is None or self.keeps_until_s is None:
            return ""
        keeps = "kept" if self.past else "keeps"
        return f"opened {_date(self.opened_s)}, {keeps} until {_date(self.keeps_until_s)}"

    @property
    def is_kept(self) -> bool:
        """Whether anything was counted, or its time is known."""
        return self.left_ml is not None or self.keeps_until_s is not None

    def wire(self) -> dict[str, Any]:
        """The JSON object."""
        opened_s, until_s = self.opened_s, self.keeps_until_s
        return {
            "neutraliser": self.neutraliser,
            "left_ml": self.left_ml,
            "untold": self.untold,
            "usual_ml": self.usual_ml,
            "opened": None if opened_s is None else _date(opened_s),
            "keeps_until": None if until_s is None else _date(until_s),
            "past": self.past,
            "low": self.low,
        }

    def held(self) -> str:
        """``the bottle holds 12 mL by what was logged``."""
        if self.left_ml is None:
            return "what the bottle holds is not known"
        most = "at most " if self.untold else ""
        several = "1 amount is" if self.untold == 1 else f"{self.untold} amounts are"
        why = f" (of what was taken since, {several} not known)" if self.untold else ""
        return f"the bottle holds {most}{self.amount(self.left_ml)} by what was logged{why}"


def bottle_now(setup: TankSetup, stock: StockLeft | None, time_s: float) -> BottleNow | None:
    """The bottle at `time_s` [Unix s]; None where the tank has no neutraliser, or which is not
    known."""
    bottle = setup.bottle
    if bottle is None:
        return None
    if stock is None and bottle.opened_s is None:  # asked for all the time, and mostly so
        return BottleNow(bottle.name, None, 0, None, None, None, False, None, setup.dose_unit)
    stock = _own(bottle, stock, setup.inference.tank, time_s)
    usual_ml, left_ml = usual_refill_ml(setup, stock), stock.left_ml
    opened_s = max((s for s in (bottle.opened_s, stock.opened_s) if s is not None), default=None)
    until_s = None if opened_s is None or bottle.keeps_s is None else opened_s + bottle.keeps_s
    past = until_s is not None and time_s > until_s
    short = _is_short(left_ml, stock.untold, usual_ml)
    low = True if past else short
    return BottleNow(
        bottle.name, left_ml, stock.untold, usual_ml, opened_s, until_s, past, low, setup.dose_unit
    )  # fmt: skip


def _date(time_s: float) -> str:
    return rfc3339(time_s)[:10]


def _is_short(left_ml: float | None, untold: int, usual_ml: float | None) -> bool | None:
    """A refill whose amount was not told is taken to have been a usual one."""
    if left_ml is None:
        return None
    if left_ml <= 0.0:
        return True
    return None if usual_ml is None else left_ml - untold * usual_ml < usual_ml


def usual_refill_ml(setup: TankSetup, stock: StockLeft) -> float | None:
    """Neutraliser of a usual refill [mL]: the median of the last that were told, else the plan's
    for their usual water; None where neither is known."""
    if stock.refills_ml:
        return _middle(stock.refills_ml)
    bottles = () if setup.at_hand is None else setup.at_hand.bottles
    if not stock.refills_litres or len(bottles) != 1:
        return None
    from afterfill.planning.dose import dose_for  # seldom asked for, and a Pi's memory is small
    from afterfill.planning.tap_water import residual_poured

    water, whole = setup.inference.water, setup.inference.litres
    litres = min(median(stock.refills_litres), whole)
    tap = Tap(water.disinfectant, water.residual_mg_l, water.residual_max_mg_l)
    poured = residual_poured(tap, water.standing_hours)
    limit_mg_l = setup.inference.limit_mg_l
    dose = dose_for(bottles[0], Asked(litres), whole, tap.disinfectant, poured, limit_mg_l)
    return None if dose is None or dose.ml <= 0.0 else dose.ml


@lru_cache(maxsize=64)  # asked for at each step
def _middle(amounts_ml: tuple[float, ...]) -> float:
    return round(median(amounts_ml), 3)


def stocked(
    setup: TankSetup, before: StockLeft | None, stock: Stock, time_s: float
) -> StockLeft | None:
    """What is left after neutraliser was bought, opened or counted. Another neutraliser than the
    tank's, or an amount that is not known, changes nothing."""
    bottle = setup.bottle
    if bottle is None or stock.neutraliser not in (None, bottle.name):
        return before
    ml = bottle.bottle_ml if stock.neutraliser_ml is None else stock.neutraliser_ml
    if ml is None:
        return before
    old = replace(_own(bottle, before, stock.tank, time_s), time_s=time_s)
    if stock.what == "bought":
        if old.open_ml is not None:
            return replace(old, closed_ml=round(old.closed_ml + ml, 3))
        # what was there before was never counted, and is not counted on
        return replace(old, open_ml=0.0, closed_ml=ml, counted_s=stock.time_s)
    # What was drawn after a count that is told late is not known any more one by one.
    untold = 1 if old.drawn_s > stock.time_s else 0
    counted = replace(old, open_ml=ml, counted_s=stock.time_s, untold=untold)
    if stock.what == "counted":
        return replace(counted, closed_ml=0.0)
    # an old bottle's rest is not counted on
    closed_ml = round(max(old.closed_ml - ml, 0.0), 3)
    return replace(counted, closed_ml=closed_ml, opened_s=stock.time_s)


def dosed(
    setup: TankSetup, before: StockLeft | None, dose: Dose, time_s: float
) -> StockLeft | None:
    """What is left after a dose into the tank."""
    if setup.bottle is None:
        return before
    old = replace(_own(setup.bottle, before, dose.tank, time_s), time_s=time_s)
    return _drawn(old, dose.neutraliser_ml, dose.time_s)


def refilled(
    setup: TankSetup,
    before: StockLeft | None,
    refill: Refill,
    said: tuple[Relation | None, Pour | None],
    time_s: float,
) -> StockLeft | None:
    """What is left after the word about a refill. `said`: what it has to do with the pour under
    watch, and that pour: what is said twice is drawn once."""
    relation, old_pour = said
    if setup.bottle is None or relation == "repeated":
        return before
    old = replace(_own(setup.bottle, before, refill.tank, time_s), time_s=time_s)
    if relation != "amended" or old_pour is None:
        return _drawn(_remembered(old, refill), refill.neutraliser_ml, refill.time_s)
    return _amended(old, old_pour, refill)


def _amended(left: StockLeft, pour: Pour, refill: Refill) -> StockLeft:
    """The latest word on the amount counts instead of the one before it."""
    before_ml, ml = pour.neutraliser_ml, refill.neutraliser_ml
    if ml is None or ml == before_ml:
        return left
    if before_ml is None:
        if left.untold and pour.time_s >= left.counted_s:
            left = replace(left, untold=left.untold - 1)
        litres = None if pour.litres is not None else refill.litres
        told = replace(refill, litres=litres)
        return _drawn(_remembered(left, told), ml, pour.time_s)
    if before_ml > 0.0:
        left = replace(left, refills_ml=left.refills_ml[:-1])
    told = replace(refill, litres=None)
    return _drawn(_remembered(left, told), ml - before_ml, pour.time_s)


def _remembered(left: StockLeft, refill: Refill) -> StockLeft:
    """A refill without any neutraliser is no measure of one with, nor one of no water."""
    ml, litres = refill.neutraliser_ml, refill.litres
    if ml is not None and ml > 0.0:
        left = replace(left, refills_ml=(*left.refills_ml, ml)[-_REFILLS:])
    if litres is not None and litres > 0.0:
        left = replace(left, refills_litres=(*left.refills_litres, litres)[-_REFILLS:])
    return left


def _drawn(left: StockLeft, ml: float | None, drawn_s: float) -> StockLeft:
    """`ml` was taken at `drawn_s`, from the opened bottle first."""
    left = replace(left, drawn_s=max(left.drawn_s, drawn_s))
    if left.open_ml is None or drawn_s < left.counted_s:
        return left
    if ml is None:
        return replace(left, untold=left.untold + 1)
    over_ml = max(ml - left.open_ml, 0.0)
    open_ml = round(max(left.open_ml - ml, 0.0), 3)
    return replace(left, open_ml=open_ml, closed_ml=round(max(left.closed_ml - over_ml, 0.0), 3))


def told(before: StockLeft | None, after: StockLeft | None) -> list[StockLeft]:
    """What is to be told after a change: nothing as long as nothing was counted."""
    if after is None or after.open_ml is None:
        return []
    same = before is not None and replace(after, time_s=before.time_s) == before
    return [] if same else [after]


def heard(setup: TankSetup, before: StockLeft | None, record: StockLeft) -> StockLeft | None:
    """What is left as another tank on the same neutraliser has told it, or this one before a
    restart."""
    bottle = setup.bottle
    return record if bottle is not None and record.neutraliser == bottle.name else before


def shared(record: StockLeft, other: StockLeft | None, tank: str) -> StockLeft:
    """What `tank`, which knew `other`, is to hear of it: a tank's refills stay its own."""
    ours = other is not None and other.neutraliser == record.neutraliser
    return replace(
        record,
        tank=tank,
        refills_ml=other.refills_ml if ours and other else (),
        refills_litres=other.refills_litres if ours and other else (),
    )


def _own(bottle: BottleKept, stock: StockLeft | None, tank: str, time_s: float) -> StockLeft:
    """What was told of this neutraliser; of another one, nothing."""
    if stock is not None and stock.neutraliser == bottle.name:
        return stock
    return StockLeft(time_s, tank, bottle.name)
