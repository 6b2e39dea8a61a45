"""The one table of record kinds: each kind's word, and what is done with it.

Every list of kinds elsewhere (what a restart folds, what is kept in blocks, what an export holds,
what each sink delivers) is derived from this table, so that a new kind is one row here.
"""

from collections.abc import Callable
from typing import Literal, NamedTuple, TypeGuard

from afterfill.records import (
    AlarmChange,
    AlarmCommand,
    AlarmLoad,
    Calibration,
    Correction,
    Dose,
    Estimate,
    Forecast,
    ForecastCheck,
    Health,
    Input,
    KitResult,
    MachineState,
    Note,
    ProbeLearnt,
    Reading,
    Record,
    Refill,
    RefillReady,
    RefillSeen,
    ResponseCheck,
    Service,
    SourceBelieved,
    SourceLearnt,
    SourceTest,
    Standing,
    Stock,
    StockLeft,
    Tick,
    Verdict,
)

Role = Literal["input", "finding", "upkeep"]
Place = Literal["readings", "events"]


class RecordKind(NamedTuple):
    """One kind of record.

    `role`: an input goes into the fold, a finding comes out of it, upkeep does neither.
    `lasting`: what it says is remembered for longer than the readings that a restart without a
    snapshot folds again. `kept`: it stays in the journal when what is as old is dropped.
    `recording`: the file of a recording that holds it.
    `block_bit`: kept in blocks, because it comes all the time; the bit is part of the journal's
    form. `prompt`: written to the disk before it is told. `mqtt`, `database`, `message`, `report`:
    who delivers it.
    """

    record_type: type[Record]
    word: str
    role: Role
    lasting: bool = False
    kept: bool = False
    recording: Place | None = None
    block_bit: int | None = None
    prompt: bool = False
    mqtt: bool = False
    database: bool = False
    message: bool = False
    report: bool = False


TABLE: tuple[RecordKind, ...] = (
    RecordKind(Reading, "reading", "input", recording="readings", block_bit=0,
               mqtt=True, database=True, report=True),
    RecordKind(Tick, "tick", "input", recording="readings", block_bit=1),
    RecordKind(Refill, "refill", "input", recording="events", report=True),
    RecordKind(KitResult, "kit", "input", recording="events", report=True),
    RecordKind(SourceTest, "source-test", "input", lasting=True, recording="events", report=True),
    RecordKind(Dose, "dose", "input", recording="events", report=True),
    RecordKind(Stock, "stock", "input", lasting=True, recording="events", report=True),
    RecordKind(Service, "service", "input", lasting=True, recording="events", report=True),
    RecordKind(Calibration, "calibration", "input", lasting=True, recording="events", report=True),
    RecordKind(ResponseCheck, "response-check", "input", lasting=True, recording="events",
               report=True),
    RecordKind(Note, "note", "input", recording="events", report=True),
    RecordKind(Correction, "correction", "input", kept=True),
    RecordKind(AlarmCommand, "alarm-command", "input", lasting=True, recording="events",
               report=True),
    RecordKind(MachineState, "machine-state", "input", lasting=True, recording="events"),
    RecordKind(SourceLearnt, "source-learnt", "input", lasting=True, kept=True,
               recording="events", prompt=True),
    RecordKind(StockLeft, "stock-left", "input", lasting=True, kept=True, recording="events",
               mqtt=True),
    RecordKind(Estimate, "estimate", "finding", block_bit=2, mqtt=True, database=True, report=True),
    RecordKind(Forecast, "forecast", "finding", block_bit=3, mqtt=True, database=True),
    RecordKind(RefillSeen, "refill-seen", "finding", prompt=True, mqtt=True, database=True,
               report=True),
    RecordKind(Verdict, "verdict", "finding", prompt=True, mqtt=True, database=True, message=True,
               report=True),
    RecordKind(AlarmChange, "alarm", "finding", prompt=True, mqtt=True, database=True, message=True,
               report=True),
    RecordKind(Standing, "standing", "finding", prompt=True, mqtt=True, database=True),
    RecordKind(SourceBelieved, "source-belief", "finding", database=True),
    RecordKind(RefillReady, "refill-ready", "finding", prompt=True, mqtt=True),
    RecordKind(ProbeLearnt, "probe-learnt", "finding", lasting=True, kept=True),
    RecordKind(ForecastCheck, "forecast-check", "finding", kept=True),
    RecordKind(Health, "health", "upkeep", block_bit=4, mqtt=True, database=True),
    RecordKind(AlarmLoad, "alarm-load", "upkeep", database=True),
)  # fmt: skip

KIND_OF: dict[type[Record], str] = {kind.record_type: kind.word for kind in TABLE}
TYPE_OF: dict[str, type[Record]] = {kind.word: kind.record_type for kind in TABLE}


def words_of(wanted: Callable[[RecordKind], object]) -> tuple[str, ...]:
    """The words of the kinds for which `wanted` is true, in the table's order."""
    return tuple(kind.word for kind in TABLE if wanted(kind))


def types_of(wanted: Callable[[RecordKind], object]) -> tuple[type[Record], ...]:
    """The record types of the kinds for which `wanted` is true, in the table's order."""
    return tuple(kind.record_type for kind in TABLE if wanted(kind))


_INPUTS = types_of(lambda kind: kind.role == "input")


def is_input(record: Record) -> TypeGuard[Input]:
    """Whether the record goes into the fold."""
    return isinstance(record, _INPUTS)
