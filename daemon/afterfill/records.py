"""Everything that can happen, as frozen records: the one vocabulary of journal, fold and sinks.

Times are Unix seconds, UTC, on a grid of one millisecond, so that their RFC 3339 text and the
number are the same instant. Chlorine is mg/L as Cl2, ammonia mg/L as N, volumes litres,
temperature degrees C, ORP millivolts against the probe's own reference. "Residual" is the total
residual oxidant, free plus combined; "free ammonia" is un-ionised NH3 as N.
"""

from dataclasses import dataclass
from typing import Literal, NamedTuple

Quantity = Literal["orp", "ph", "temperature"]
QUANTITIES: tuple[Quantity, ...] = ("temperature", "ph", "orp")  # order of one reply's readings
UNITS: dict[Quantity, str] = {"orp": "mV", "ph": "pH", "temperature": "°C"}

InvalidReason = Literal[
    "no-answer",  # nothing came before the time-out
    "incomplete",  # part of a reply came
    "garbled",  # a reply that does not match the expected form
    "bad-checksum",  # a frame whose check value is wrong
    "error-reply",  # the probe answered that it cannot
    "echo",  # the line returned our own request
    "wrong-device",  # another device answered
    "out-of-range",  # a number no such probe can mean
    "power-up-value",  # the reset value of a chip, not a measurement
    "port-lost",  # the port is gone or cannot be opened
]

RefillMode = Literal["replace", "add"]  # drain and refill, or add to what is there
ServiceWhat = Literal["probe", "feeding", "cleaning", "other", "lamp", "ozone", "medicine"]
OXIDISING: tuple[ServiceWhat, ...] = ("lamp", "ozone", "medicine")  # raise an ORP and are no refill
VerdictWord = Literal["clear", "possible", "carried-over", "cannot-tell"]
StandingWord = Literal["safe", "not-safe", "cannot-tell", "learning"]
AlarmState = Literal[
    "normal",
    "unacknowledged",
    "acknowledged",
    "returned-to-normal-unacknowledged",
    "shelved",
    "suppressed-by-design",
    "out-of-service",
]
Priority = Literal["low", "medium", "high"]
AlarmAction = Literal["acknowledge", "shelve", "unshelve", "out-of-service", "return-to-service"]
MachineCondition = Literal[
    "delivery-stalled",
    "journal-failing",
    "journal-damaged",
    "storage-low",
    "clock-unsure",
    "power-low",
]


class Quantiles(NamedTuple):
    """5 %, 50 % and 95 % points of what is known about a quantity."""

    q05: float
    q50: float
    q95: float


@dataclass(frozen=True, slots=True)
class Stamp:
    """When something was accepted: wall time, whether the clock was synchronised, and the boot's
    own monotonic time, on which every interval is measured."""

    time_s: float
    synchronised: bool
    boot_id: str
    monotonic_s: float


# --- what comes in -----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Reading:
    """One answer of one probe: a value, or `invalid` with the reason and the raw bytes."""

    time_s: float
    tank: str
    quantity: Quantity
    value: float | None
    probe: str = ""
    invalid: InvalidReason | None = None
    raw: str = ""


@dataclass(frozen=True, slots=True)
class Tick:
    """Time passed on a tank with nothing read: lets watches end and silence be noticed."""

    time_s: float
    tank: str


@dataclass(frozen=True, slots=True)
class Refill:
    """Water that a person or an automation says was poured. `None` means not known.

    `time_s` is when it began; `logged_s` when we learnt of it (None: at `time_s`).
    """

    time_s: float
    tank: str
    mode: RefillMode
    litres: float | None = None
    minutes: float | None = None
    neutraliser_ml: float | None = None
    source: str | None = None
    logged_s: float | None = None


@dataclass(frozen=True, slots=True)
class KitResult:
    """A test-kit reading of the tank's water; any subset may be known."""

    time_s: float
    tank: str
    total_ammonia_mg_l: float | None = None
    total_chlorine_mg_l: float | None = None
    free_chlorine_mg_l: float | None = None
    ph: float | None = None
    logged_s: float | None = None


@dataclass(frozen=True, slots=True)
class SourceTest:
    """A test-kit reading of the source's own water, before anything was put into it; `source`: its
    name in the configuration (None: the tank's own)."""

    time_s: float
    tank: str
    source: str | None = None
    total_chlorine_mg_l: float | None = None
    free_chlorine_mg_l: float | None = None
    logged_s: float | None = None


@dataclass(frozen=True, slots=True)
class Dose:
    """Neutraliser put into the tank itself."""

    time_s: float
    tank: str
    neutraliser_ml: float
    logged_s: float | None = None


@dataclass(frozen=True, slots=True)
class Service:
    """Work on the tank or a probe that moves the readings without any disinfectant. `quantity`:
    which probe (None: not said); `minutes`: that it is out of the tank from now on for so long at
    most, or, if 0, that it is back."""

    time_s: float
    tank: str
    what: ServiceWhat
    logged_s: float | None = None
    quantity: Quantity | None = None
    minutes: float | None = None


@dataclass(frozen=True, slots=True)
class Calibration:
    """A probe was held against standards. `slope` and `offset` as its maker means them."""

    time_s: float
    tank: str
    quantity: Quantity
    probe: str = ""
    slope: float | None = None
    offset: float | None = None
    logged_s: float | None = None


@dataclass(frozen=True, slots=True)
class ResponseCheck:
    """The ORP probe was held in conditioned and then in raw source water: the `step_mv` it made
    (above 0), how surely [mV], what the raw water held [mg/L as Cl2] and its pH if known.
    `measured`: by a test kit, not taken from the configuration."""

    time_s: float
    tank: str
    step_mv: float
    step_sd_mv: float
    free_chlorine_mg_l: float
    combined_chlorine_mg_l: float
    measured: bool
    ph: float | None = None
    probe: str = ""
    logged_s: float | None = None


@dataclass(frozen=True, slots=True)
class AlarmCommand:
    """A person answers an alarm; `minutes` only with shelve, `reason` only with out-of-service."""

    time_s: float
    tank: str
    alarm: str
    action: AlarmAction
    minutes: float | None = None
    logged_s: float | None = None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class SourceLearnt:
    """What is known of a source, told when a test or a refill of one tank has taught it, to every
    other tank on it as well. `log_mean`, `log_sd`: of the natural logarithm of total chlorine
    [mg/L as Cl2] at the tap at `learnt_s` [s]; `taught`: by how many tests and refills;
    `breakthrough`: the probability that a filter lets the raw water through."""

    time_s: float
    tank: str
    source: str
    log_mean: float
    log_sd: float
    learnt_s: float
    taught: int
    breakthrough: float


@dataclass(frozen=True, slots=True)
class MachineState:
    """What the service finds out about the machine under it, told when it changes and at each
    start; `holds` is None where it cannot be told."""

    time_s: float
    tank: str
    name: MachineCondition
    holds: bool | None
    detail: str = ""


# --- what is found -----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Estimate:
    """What is believed about the water now. `p_over_limit`: probability that the residual exceeds
    the tank's limit; `detection_floor_mg_l`: the smallest residual that would be called now with
    95 % power; `sees` false when the ORP cannot be used, `why_blind` says why."""

    time_s: float
    tank: str
    residual_mg_l: Quantiles
    free_chlorine_mg_l: Quantiles
    combined_chlorine_mg_l: Quantiles
    total_ammonia_mg_l: Quantiles
    free_ammonia_mg_l: Quantiles | None
    p_over_limit: float
    detection_floor_mg_l: float | None
    sees: bool
    why_blind: str | None


@dataclass(frozen=True, slots=True)
class Forecast:
    """What is to come within `hours` if nothing more is poured and the pH goes its usual way.

    `sees` false: the ORP cannot be used, so no time is given for the residual.
    `residual_below_limit_s`, `residual_surely_below_limit_s`: Unix time at which the median and the
    95 % point of the residual are below the tank's limit for good (`time_s` itself when they are
    now); None when not within `hours`. `free_ammonia_peak_*`: when its median is highest, and what
    is believed of it then [mg/L as N]; None where pH or temperature is not known.
    """

    time_s: float
    tank: str
    hours: float
    residual_below_limit_s: float | None
    residual_surely_below_limit_s: float | None
    free_ammonia_peak_mg_l: Quantiles | None
    free_ammonia_peak_s: float | None
    sees: bool = True


@dataclass(frozen=True, slots=True)
class RefillSeen:
    """A refill that the watch is on: announced by someone, or inferred from the readings."""

    time_s: float
    tank: str
    origin: Literal["announced", "inferred"]
    fraction: Quantiles


@dataclass(frozen=True, slots=True)
class Evidence:
    """How far one source of evidence moved the odds of a carry-over, in natural-log odds."""

    source: str
    log_odds: float


@dataclass(frozen=True, slots=True)
class Verdict:
    """The answer for one refill, renewed each time it changes and once more when final."""

    time_s: float
    tank: str
    refill_time_s: float
    verdict: VerdictWord
    probability: float
    peak_residual_mg_l: Quantiles
    final: bool
    evidence: tuple[Evidence, ...] = ()


@dataclass(frozen=True, slots=True)
class AlarmChange:
    """One transition of one alarm. `active` tells whether its condition holds now, `known` whether
    that can be judged; `first_out`: of the alarms during the last refill it came first. An alarm
    that is `unacknowledged` and not `active` is latched."""

    time_s: float
    tank: str
    alarm: str
    state: AlarmState
    priority: Priority
    active: bool
    message: str = ""
    known: bool = True
    first_out: bool = False


@dataclass(frozen=True, slots=True)
class Standing:
    """How the tank stands, told whenever that changes: `safe` as far as the probes can see,
    `not-safe`, `cannot-tell`, or `learning` its quiet ORP. `since_s`: since when the word holds;
    `why`: empty when safe; `detection_floor_mg_l` as in an estimate, None while blind."""

    time_s: float
    tank: str
    standing: StandingWord
    since_s: float
    why: str
    sees: bool
    detection_floor_mg_l: float | None


@dataclass(frozen=True, slots=True)
class ProbeLearnt:
    """What is known of the ORP probe, told when it has changed, so that it outlives every version
    of the service. `parameters` names them; `log_mean`, `log_sd`: of the natural logarithm of
    each (mV, mg/L as Cl2, share, s, s); `refills`: how many taught it; the pH slope [mV/pH]."""

    time_s: float
    tank: str
    parameters: tuple[str, ...]
    log_mean: tuple[float, ...]
    log_sd: tuple[float, ...]
    refills: int
    ph_slope_mv: float
    ph_slope_sd_mv: float


@dataclass(frozen=True, slots=True)
class KitForetold:
    """What had been said of the water that a test kit then measured, and what the kit showed: one
    for the figures of the test's own moment (`lead_h` 0) and one for each forecast that fell due.

    `kit_s`: when the test was taken; `said_s`: when the figures were said. `p_over_limit` (of
    `limit_mg_l`) and free chlorine are not forecast, so they are None where `lead_h` is above 0.
    """

    time_s: float
    tank: str
    kit_s: float
    said_s: float
    lead_h: float
    sees: bool
    limit_mg_l: float
    residual_mg_l: Quantiles
    free_chlorine_mg_l: Quantiles | None
    total_ammonia_mg_l: Quantiles
    p_over_limit: float | None
    kit_total_chlorine_mg_l: float | None = None
    kit_free_chlorine_mg_l: float | None = None
    kit_total_ammonia_mg_l: float | None = None


@dataclass(frozen=True, slots=True)
class Health:
    """How a probe, a sink or the service itself is doing; data, not an alarm."""

    time_s: float
    tank: str
    component: str
    up: bool
    age_s: float | None
    errors: int
    detail: str = ""


@dataclass(frozen=True, slots=True)
class AlarmLoad:
    """What the alarms asked of a person in the `days` before: how many were `raised`, in all and
    by priority, the most in ten minutes; how many hold, chattered, or have held for over a day."""

    time_s: float
    tank: str
    days: float
    raised: int
    high: int
    medium: int
    low: int
    peak_ten_minutes: int
    standing: int
    chattering: int
    stale: int


Event = (
    Refill | KitResult | SourceTest | Dose | Service | Calibration | ResponseCheck | AlarmCommand
)
Input = Reading | Tick | MachineState | SourceLearnt | Event
Output = (
    Estimate
    | Forecast
    | RefillSeen
    | Verdict
    | AlarmChange
    | Standing
    | ProbeLearnt
    | SourceLearnt
    | KitForetold
)
Record = Input | Output | Health | AlarmLoad
EVENTS = (
    Refill, KitResult, SourceTest, Dose, Service, Calibration, ResponseCheck, AlarmCommand,
)  # fmt: skip


def known_since_s(record: Input) -> float:
    """The time [s] at which the fold learns of a record: when it was logged, or its own time."""
    logged_s = record.logged_s if isinstance(record, EVENTS) else None
    return record.time_s if logged_s is None else max(record.time_s, logged_s)
