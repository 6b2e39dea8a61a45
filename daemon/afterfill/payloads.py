"""What a person, a hub or a recording may say about a tank, checked and turned into records.

The same payloads (and the alarm commands) come from the command line, MQTT and
`events.jsonl`. A number may also be a text as people type it (``2,5``), amounts
with their unit (``30 US gal``, ``5 ml``).
"""

from collections.abc import Callable, Mapping
from typing import Annotated, Any, Literal, get_args

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, model_validator

from afterfill.chemistry.doses import dose_from
from afterfill.chemistry.kit_units import ammonia_from, chlorine_from, free_chlorine_from
from afterfill.chemistry.typed import number_from
from afterfill.chemistry.units import litres_from
from afterfill.errors import PayloadError
from afterfill.records import (
    AlarmAction,
    AlarmCommand,
    Calibration,
    Correction,
    Dose,
    Event,
    KitResult,
    Note,
    Quantity,
    Refill,
    ResponseCheck,
    Service,
    ServiceWhat,
    SourceLearnt,
    SourceTest,
    Stock,
    StockLeft,
    StockWhat,
    Word,
    known_since_s,
)
from afterfill.sentences import first_sentence, known_keys
from afterfill.wire import TIME_KEYS, to_wire, unix_s


# Upper bounds only stop slips of the decimal point; they are our own choice.
def _typed(reads: Callable[[object], float]) -> BeforeValidator:
    """A text is read as a person types it; what is no text stays what it is, to be judged."""
    return BeforeValidator(lambda value: reads(value) if isinstance(value, str) else value)


# Strict: true is no number.
Number = Annotated[float, _typed(number_from), Field(strict=True)]
Litres = Annotated[float, _typed(litres_from), Field(gt=0, le=100_000, strict=True)]
Millilitres = Annotated[
    float, _typed(lambda text: dose_from(text, "mL")), Field(ge=0, le=100_000, strict=True)
]
_Concentration = Field(ge=0, le=100, strict=True)
Ammonia = Annotated[float, _typed(ammonia_from), _Concentration]  # mg/L as N
TotalChlorine = Annotated[float, _typed(chlorine_from), _Concentration]  # mg/L as Cl2
Chlorine = Annotated[float, _typed(free_chlorine_from), _Concentration]


class _Payload(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class RefillPayload(_Payload):
    """A refill; `null` or absent means not known."""

    mode: Literal["replace", "add"] = "replace"
    litres: Litres | None = None
    minutes: Number | None = Field(default=None, ge=0, le=1440)
    neutraliser_ml: Millilitres | None = None
    source: str | None = Field(default=None, max_length=64)


class KitPayload(_Payload):
    """A test-kit reading; at least one value."""

    total_ammonia_mg_l: Ammonia | None = None
    total_chlorine_mg_l: TotalChlorine | None = None
    free_chlorine_mg_l: Chlorine | None = None
    ph: Number | None = Field(default=None, ge=0, le=14)

    @model_validator(mode="after")
    def _says_something(self) -> "KitPayload":
        if all(value is None for value in self.model_dump().values()):
            raise ValueError("a kit reading needs at least one value")
        return self


class SourceTestPayload(_Payload):
    """A test-kit reading of the source's own water; at least one value."""

    source: str | None = Field(default=None, max_length=64)
    total_chlorine_mg_l: TotalChlorine | None = None
    free_chlorine_mg_l: Chlorine | None = None

    @model_validator(mode="after")
    def _says_something(self) -> "SourceTestPayload":
        if self.total_chlorine_mg_l is None and self.free_chlorine_mg_l is None:
            raise ValueError("a test of the source needs total or free chlorine")
        return self


class DosePayload(_Payload):
    """Neutraliser put into the tank."""

    neutraliser_ml: Millilitres


class StockPayload(_Payload):
    """Neutraliser was bought, opened or counted; a bottle's size may be left out where it is in the
    configuration, a count may not."""

    what: StockWhat
    neutraliser_ml: Millilitres | None = None
    neutraliser: str | None = Field(default=None, max_length=64)

    @model_validator(mode="after")
    def _counts_something(self) -> "StockPayload":
        if self.what == "counted" and self.neutraliser_ml is None:
            raise ValueError("a count needs neutraliser_ml: all that is there, in mL")
        if self.what != "counted" and self.neutraliser_ml == 0.0:
            raise ValueError("a bottle holds more than 0 mL; give neutraliser_ml")
        return self


class ServicePayload(_Payload):
    """Work on the tank or its probes; `quantity` names the probe, `minutes` for how long at most
    it is out of the tank from now on (0: it is back)."""

    what: ServiceWhat
    quantity: Quantity | None = None
    minutes: Number | None = Field(default=None, ge=0, le=120)

    @model_validator(mode="after")
    def _of_a_probe(self) -> "ServicePayload":
        if self.what != "probe" and (self.quantity, self.minutes) != (None, None):
            raise ValueError("quantity and minutes belong to what = probe; leave them out")
        if self.minutes is not None and self.quantity is None:
            raise ValueError("minutes need to know which probe is out; give its quantity")
        return self


class CalibrationPayload(_Payload):
    """A probe was held against standards; `slope` and `offset` as its maker means them."""

    quantity: Quantity
    probe: str = Field(default="", max_length=64)
    slope: Number | None = None
    offset: Number | None = None


class ResponseCheckPayload(_Payload):
    """The ORP probe's step from conditioned into raw water that held some chlorine."""

    step_mv: Number = Field(gt=0, le=1500)
    step_sd_mv: Number = Field(gt=0, le=500)
    free_chlorine_mg_l: Chlorine
    combined_chlorine_mg_l: TotalChlorine
    measured: bool
    ph: Number | None = Field(default=None, ge=0, le=14)
    probe: str = Field(default="", max_length=64)

    @model_validator(mode="after")
    def _holds_some(self) -> "ResponseCheckPayload":
        if self.free_chlorine_mg_l + self.combined_chlorine_mg_l <= 0.0:
            raise ValueError("water without chlorine checks no response")
        return self


class NotePayload(_Payload):
    """Anything worth remembering."""

    text: str = Field(min_length=1, max_length=500)

    @model_validator(mode="after")
    def _says_something(self) -> "NotePayload":
        if not self.text.strip():
            raise ValueError("a note needs a text")
        return self


class CorrectionPayload(BaseModel):
    """Which entry is taken back, or said otherwise; the corrected values stand beside it."""

    model_config = ConfigDict(extra="allow", frozen=True, allow_inf_nan=False)

    of: Annotated[int, Field(ge=1, le=1 << 53, strict=True)]
    remove: Annotated[bool, Field(strict=True)] = False
    time: str | None = None


class SourceLearntPayload(_Payload):
    """What was known of a source; only recordings hold it."""

    source: str = Field(max_length=64)
    log_mean: float = Field(ge=-10, le=5)
    log_sd: float = Field(gt=0, le=5)
    taught: int = Field(ge=0)
    breakthrough: float = Field(ge=0, le=1)
    told_by: str = Field(default="", max_length=100)
    litres: float = Field(default=0.0, ge=0)
    litres_tested: float = Field(default=0.0, ge=0)
    disinfectant: Literal["chlorine", "chloramine", "unknown", ""] = ""
    changed: bool = False
    corrected: bool = False


class StockLeftPayload(_Payload):
    """What was left of a neutraliser; only recordings hold it."""

    neutraliser: str = Field(max_length=64)
    open_ml: float | None = Field(ge=0)
    closed_ml: float = Field(ge=0)
    untold: int = Field(ge=0)
    refills_ml: tuple[float, ...]
    refills_litres: tuple[float, ...]


class PlainPayload(_Payload):
    """An alarm is acknowledged, taken off its shelf or brought back: nothing more to say."""


class ShelvePayload(_Payload):
    """An alarm is put aside for some minutes (at most a week)."""

    minutes: Number = Field(gt=0, le=7 * 1440)


class OutOfServicePayload(_Payload):
    """An alarm is taken out for maintenance, until it is returned to service."""

    reason: str = Field(min_length=3, max_length=200)


ALARM_ACTIONS: tuple[AlarmAction, ...] = get_args(AlarmAction)
_ACTION_PAYLOADS: dict[AlarmAction, type[_Payload]] = {
    "shelve": ShelvePayload,
    "out-of-service": OutOfServicePayload,
}

PAYLOADS: dict[str, tuple[type[_Payload], type[Event]]] = {
    "refill": (RefillPayload, Refill),
    "kit": (KitPayload, KitResult),
    "source-test": (SourceTestPayload, SourceTest),
    "dose": (DosePayload, Dose),
    "stock": (StockPayload, Stock),
    "service": (ServicePayload, Service),
    "calibration": (CalibrationPayload, Calibration),
    "response-check": (ResponseCheckPayload, ResponseCheck),
    "note": (NotePayload, Note),
}
CORRECTION = "correction"
_NO_VALUES = frozenset({"kind", "tank", *TIME_KEYS.values()})


def event_from(
    kind: str,
    payload: Mapping[str, Any],
    *,
    tank: str,
    time_s: float,
    logged_s: float | None = None,
) -> Event:
    """The record of a payload. Raises PayloadError with one sentence when it is not usable."""
    if kind not in PAYLOADS:
        known = ", ".join([*PAYLOADS, CORRECTION])
        raise PayloadError(f"'{kind}' cannot be logged; known: {known}")
    model, record = PAYLOADS[kind]
    values = _validated(model, payload, kind).model_dump()
    return record(time_s=time_s, tank=tank, logged_s=logged_s, **values)


def corrected_number(payload: Mapping[str, Any]) -> int:
    """The number of the entry that a correction is of. Raises PayloadError when there is none."""
    return _correction(payload).of


def correction_from(
    payload: Mapping[str, Any], said: Word, *, time_s: float, logged_s: float | None = None
) -> Correction:
    """The correction of what was `said`: values that the payload does not name stay as they were;
    `null` is not known. Raises PayloadError with one sentence when it is not usable."""
    it = _correction(payload)
    values = dict(it.model_extra or {})
    if it.remove:
        if values or it.time is not None:
            raise PayloadError("a word is either taken back (remove) or given other values")
        return Correction(time_s, said.tank, it.of, None, logged_s)
    if not values and it.time is None:
        raise PayloadError("a correction needs the corrected values, or remove")
    wire = to_wire(said)
    kind, known_s = wire["kind"], known_since_s(said)
    happened_s = said.time_s if it.time is None else unix_s(it.time)
    if happened_s > known_s:
        raise PayloadError(
            f"'{it.time}' lies after the word was said; take the word back and say it again"
        )
    kept = {key: value for key, value in wire.items() if key not in _NO_VALUES}
    word = event_from(
        kind, {**kept, **values}, tank=said.tank, time_s=happened_s,
        logged_s=None if happened_s == known_s else known_s,
    )  # fmt: skip
    if word == said or isinstance(word, Correction | AlarmCommand):
        raise PayloadError("that is what was said already; give other values")
    return Correction(time_s, said.tank, it.of, word, logged_s)


def _correction(payload: Mapping[str, Any]) -> CorrectionPayload:
    try:
        return CorrectionPayload.model_validate(payload)
    except ValidationError as error:
        keys = known_keys(CorrectionPayload)
        raise PayloadError(first_sentence(error, CORRECTION, keys)) from error


def alarm_command_from(
    action: AlarmAction,
    payload: Mapping[str, Any],
    *,
    tank: str,
    alarm: str,
    time_s: float,
    logged_s: float | None = None,
) -> AlarmCommand:
    """The record of an alarm command. Raises PayloadError when the payload is not usable."""
    model = _ACTION_PAYLOADS.get(action, PlainPayload)
    values = _validated(model, payload, action).model_dump()
    return AlarmCommand(time_s, tank, alarm, action, logged_s=logged_s, **values)


def source_learnt_from(
    payload: Mapping[str, Any], *, tank: str, time_s: float, learnt_s: float
) -> SourceLearnt:
    """What was known of a source, as a recording holds it. Raises PayloadError where it is not
    usable."""
    values = _validated(SourceLearntPayload, payload, "source-learnt").model_dump()
    return SourceLearnt(time_s=time_s, tank=tank, learnt_s=learnt_s, **values)


def stock_left_from(
    payload: Mapping[str, Any],
    *,
    tank: str,
    time_s: float,
    opened_s: float | None,
    counted_s: float,
    drawn_s: float,
) -> StockLeft:
    """What was left of a neutraliser, as a recording holds it. Raises PayloadError where it is not
    usable."""
    values = _validated(StockLeftPayload, payload, "stock-left").model_dump()
    return StockLeft(
        time_s=time_s, tank=tank, opened_s=opened_s, counted_s=counted_s, drawn_s=drawn_s, **values
    )


def _validated(model: type[_Payload], payload: Mapping[str, Any], what: str) -> _Payload:
    try:
        return model.model_validate(payload)
    except ValidationError as error:
        raise PayloadError(first_sentence(error, what, known_keys(model))) from error
