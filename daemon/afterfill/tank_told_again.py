"""What is to be told when a word was corrected and another state takes the live one's place: how
things stand, as of now, where that is not what was told. Nothing of the past is told again."""

from collections.abc import Sequence
from dataclasses import replace

from afterfill import tank_learnt, tank_sources
from afterfill.alarms import manager
from afterfill.inference.posterior.estimate import estimate
from afterfill.inference.posterior.forecast import forecast_record
from afterfill.inference.posterior.present import present
from afterfill.records import (
    ForecastCheck,
    Output,
    RefillReady,
    RefillSeen,
    SourceLearnt,
    Standing,
    StockLeft,
    Verdict,
)
from afterfill.tank_setup import TankSetup
from afterfill.tank_state import TankState


def told_again(
    setup: TankSetup,
    before: TankState,
    after: TankState,
    found: Sequence[Output],
    last: Sequence[Output],
    time_s: float,
) -> list[Output]:
    """What is told at `time_s` [s]. `found`: refills, verdicts and answers of tests that the fold
    from the corrected word on found; `last`: the newest refill and verdict that were told before.
    What tests answer is told of all of them, since none of the old answers counts."""
    told: list[Output] = [o for o in found if isinstance(o, ForecastCheck)]
    told += _newest(found, last, time_s)
    told += manager.told_again(before.alarms, after.alarms, setup.inference.tank, time_s)
    told += _standing(before.standing, after.standing, time_s)
    told += _ready(before.ready, after.ready, time_s)
    told += tank_learnt.told_again(setup, before, after, time_s)
    if after.belief.stepped_s is not None:
        told.append(estimate(setup.inference, after.belief, present(after.belief, time_s)))
        told.append(forecast_record(setup.inference, after.belief, time_s))
    if after.belief.sources != before.belief.sources:
        told += tank_sources.believed_now(setup.at(time_s), after.belief, time_s)
    return told


def taught_again(
    setup: TankSetup, before: TankState, after: TankState, time_s: float, *, anyway: bool
) -> list[SourceLearnt | StockLeft]:
    """What this tank is to know from `time_s` [s] on of its sources and its bottle, where that is
    not what it knew before, or `anyway`: where other tanks taught it, too."""
    learnt = tank_sources.told_again(setup, before.belief, after.belief, time_s, anyway=anyway)
    return [*learnt, *_stock(before.stock, after.stock, time_s, anyway=anyway)]


def _newest(found: Sequence[Output], last: Sequence[Output], time_s: float) -> list[Output]:
    told = list[Output]()
    seen = [o for o in found if isinstance(o, RefillSeen)][-1:]
    told += [o for o in seen if o not in last]
    for verdict in [o for o in found if isinstance(o, Verdict)][-1:]:
        if not any(_says_the_same(verdict, old) for old in last):
            told.append(replace(verdict, time_s=time_s))
    return told


def _says_the_same(verdict: Verdict, old: Output) -> bool:
    return isinstance(old, Verdict) and (
        (verdict.refill_time_s, verdict.verdict, verdict.final)
        == (old.refill_time_s, old.verdict, old.final)
    )


def _standing(before: Standing | None, after: Standing | None, time_s: float) -> list[Output]:
    if after is None or (before is not None and replace(before, time_s=after.time_s) == after):
        return []
    return [replace(after, time_s=time_s)]


def _ready(before: RefillReady | None, after: RefillReady | None, time_s: float) -> list[Output]:
    if after is None or (before is not None and before.why == after.why):
        return []
    return [replace(after, time_s=time_s)]


def _stock(
    before: StockLeft | None, after: StockLeft | None, time_s: float, *, anyway: bool
) -> list[StockLeft]:
    """Nothing as long as nothing was ever counted."""
    if after is None:
        told = before is not None and before.open_ml is not None
        return [StockLeft(time_s, before.tank, before.neutraliser)] if before and told else []
    same = not anyway and before is not None and replace(before, time_s=after.time_s) == after
    untold = after.open_ml is None and (before is None or before.open_ml is None)
    return [] if same or untold else [after]
