"""All that is remembered of one tank between two records."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import NamedTuple

import numpy as np

from afterfill.alarms.manager import Alarms, fresh_alarms
from afterfill.inference.belief import Belief
from afterfill.inference.filter.streams import Array
from afterfill.records import (
    MachineState,
    ProbeLearnt,
    Quantity,
    RefillReady,
    Standing,
    StockLeft,
)


class LastValue(NamedTuple):
    """What a probe said last. `usable_s`: when it last gave a usable reading, or was first waited
    for; `since_s`: since when it has shown `value`; `odd`: its last answer is none that such a
    probe can give in a fish tank."""

    usable_s: float
    value: float | None = None
    since_s: float = 0.0
    odd: bool = False


@dataclass(frozen=True, slots=True)
class PourContext:
    """What the alarms remember of the refill under watch, which `zero_s` names. pH and
    temperature before it, and the temperature when it was to have ended and mixed."""

    zero_s: float
    ph_before: float | None = None
    before_c: float | None = None
    ended_c: float | None = None


@dataclass(frozen=True, slots=True)
class NeutraliserBook:
    """Arithmetic of what was logged: surplus of neutraliser in the tank [mg/L as Cl2] at `time_s`.
    An amount that is not known makes it unknown until `unknown_until_s`. `dosed_ml` went into the
    tank itself last, at `dosed_s`; `kit_mg_l`: total chlorine by the last test, at `kit_s`."""

    surplus_mg_l: float = 0.0
    time_s: float = 0.0
    unknown_until_s: float = 0.0
    dosed_ml: float = 0.0
    dosed_s: float = 0.0
    kit_mg_l: float = 0.0
    kit_s: float = 0.0


@dataclass(frozen=True, slots=True)
class AlarmContext:
    """What the alarms remember and seldom changes. `maintained_s`: when each probe was last
    calibrated or serviced, or first met; `machine`: what the service said last; `ahead_mg_l`:
    un-ionised ammonia at its highest within a day [mg/L as N], worked out at `ahead_s`;
    `book_before`: the book without the refill under watch; `suspected_s`: the name of the last
    refill that the readings betrayed; `lent`: until when [s] each probe that was taken out of
    the tank is not believed; `advised_mg_l`: the residual [mg/L as Cl2] that the dose was for which
    an alarm named last; `met_s`: the tank's first reading."""

    maintained_s: Mapping[str, float] = field(default_factory=dict)
    machine: Mapping[str, MachineState] = field(default_factory=dict)
    book: NeutraliserBook = field(default_factory=NeutraliserBook)
    book_before: NeutraliserBook | None = None
    pour: PourContext | None = None
    suspected_s: float | None = None
    ahead_mg_l: float | None = None
    ahead_s: float = 0.0
    lent: Mapping[Quantity, float] = field(default_factory=dict)
    advised_mg_l: float | None = None
    met_s: float | None = None


FORECAST_COLUMNS = 30


class PastForecasts(NamedTuple):
    """What was said of the water in the last day, a row an hour, for a test kit to answer (see
    `tank_forecasts`); `poured_s`: when water or neutraliser last came, which no forecast knew of;
    `tested_s`: when total chlorine, free chlorine and ammonia were last tested."""

    rows: Array = np.empty((0, FORECAST_COLUMNS))
    poured_s: float = 0.0
    tested_s: tuple[float, ...] = (0.0, 0.0, 0.0)


class TankState(NamedTuple):
    """`last_values`: what each probe said last; `told_s`: time of the last estimate that was given
    out; `waiting_s`: since when other readings wait for the ORP to make a step with; `context`:
    what the alarms remember besides; `standing`: how the tank stands, as it was told last, and
    `judged_s`, when that was judged; `learnt`: what was told last of the ORP probe; `failures`:
    how often the fold failed on a record, and the newest `failure`; `forecasts`: what was said
    that a test may answer; `stock`: what is left of the tank's neutraliser; `ready`: whether a
    refill may begin, as it was told last."""

    belief: Belief = Belief()
    alarms: Alarms = fresh_alarms()
    last_values: Mapping[Quantity, LastValue] = MappingProxyType({})
    told_s: float | None = None
    waiting_s: float | None = None
    context: AlarmContext = AlarmContext()
    standing: Standing | None = None
    judged_s: float | None = None
    learnt: ProbeLearnt | None = None
    failures: int = 0
    failure: str = ""
    forecasts: PastForecasts = PastForecasts()
    stock: StockLeft | None = None
    ready: RefillReady | None = None

    def with_belief(self, belief: Belief) -> "TankState":
        """With each step: `_replace` would cost three times as much."""
        return TankState(belief, *self[1:])
