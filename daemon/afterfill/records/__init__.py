"""Everything that can happen, as frozen records: the one vocabulary of journal, fold and sinks.

Times are Unix seconds, UTC, on a grid of one millisecond, so that their RFC 3339 text and the
number are the same instant. Chlorine is mg/L as Cl2, ammonia mg/L as N, volumes litres,
temperature degrees C, ORP millivolts against the probe's own reference. "Residual" is the total
residual oxidant, free plus combined; "free ammonia" is un-ionised NH3 as N.
"""

from afterfill.records.findings import (
    AlarmChange,
    Estimate,
    Evidence,
    Forecast,
    ForecastCheck,
    ProbeLearnt,
    RefillReady,
    RefillSeen,
    SourceBelieved,
    Standing,
    Verdict,
)
from afterfill.records.inputs import (
    AlarmCommand,
    Calibration,
    Correction,
    Dose,
    KitResult,
    MachineState,
    Note,
    Reading,
    Refill,
    ResponseCheck,
    Service,
    SourceLearnt,
    SourceTest,
    Stock,
    StockLeft,
    Tick,
    Word,
)
from afterfill.records.upkeep import AlarmLoad, Health
from afterfill.records.words import (
    OXIDISING,
    QUANTITIES,
    UNITS,
    AlarmAction,
    AlarmState,
    InvalidReason,
    MachineCondition,
    Priority,
    Quantiles,
    Quantity,
    RefillMode,
    ServiceWhat,
    Stamp,
    StandingWord,
    StockWhat,
    VerdictWord,
)

__all__ = [
    "EVENTS",
    "OXIDISING",
    "QUANTITIES",
    "UNITS",
    "WORDS",
    "AlarmAction",
    "AlarmChange",
    "AlarmCommand",
    "AlarmLoad",
    "AlarmState",
    "Calibration",
    "Correction",
    "Dose",
    "Estimate",
    "Event",
    "Evidence",
    "Forecast",
    "ForecastCheck",
    "Health",
    "Input",
    "InvalidReason",
    "KitResult",
    "Left",
    "MachineCondition",
    "MachineState",
    "Note",
    "Output",
    "Priority",
    "ProbeLearnt",
    "Quantiles",
    "Quantity",
    "Reading",
    "Record",
    "Refill",
    "RefillMode",
    "RefillReady",
    "RefillSeen",
    "ResponseCheck",
    "Service",
    "ServiceWhat",
    "SourceBelieved",
    "SourceLearnt",
    "SourceTest",
    "Stamp",
    "Standing",
    "StandingWord",
    "Stock",
    "StockLeft",
    "StockWhat",
    "Tick",
    "Verdict",
    "VerdictWord",
    "Word",
    "known_since_s",
]

Event = Word | Correction | AlarmCommand
Left = Event | SourceLearnt  # what others may leave in the inbox
Input = Reading | Tick | MachineState | SourceLearnt | StockLeft | Event
Output = (
    Estimate
    | Forecast
    | RefillSeen
    | Verdict
    | AlarmChange
    | Standing
    | ProbeLearnt
    | SourceBelieved
    | RefillReady
    | SourceLearnt
    | StockLeft
    | ForecastCheck
)
Record = Input | Output | Health | AlarmLoad
WORDS = (
    Refill, KitResult, SourceTest, Dose, Stock, Service, Calibration, ResponseCheck, Note,
)  # fmt: skip
EVENTS = (*WORDS, Correction, AlarmCommand)


def known_since_s(record: Input) -> float:
    """The time [s] at which the fold learns of a record: when it was logged, or its own time."""
    logged_s = record.logged_s if isinstance(record, EVENTS) else None
    return record.time_s if logged_s is None else max(record.time_s, logged_s)
