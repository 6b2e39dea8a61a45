"""What comes in: readings, and what people, automations, the machine and other tanks say."""

from dataclasses import dataclass
from typing import Literal

from afterfill.records.words import (
    AlarmAction,
    InvalidReason,
    MachineCondition,
    Quantity,
    RefillMode,
    ServiceWhat,
    StockWhat,
)


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
class Stock:
    """Neutraliser was bought (a closed bottle more), opened (from now on this bottle is used), or
    counted (all that is there). `neutraliser_ml`: how much (None: a bottle as configured);
    `neutraliser`: its name in the configuration (None: the tank's own)."""

    time_s: float
    tank: str
    what: StockWhat
    neutraliser_ml: float | None = None
    neutraliser: str | None = None
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
class Note:
    """Anything worth remembering about the tank; nothing is concluded from it."""

    time_s: float
    tank: str
    text: str
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


Word = Refill | KitResult | SourceTest | Dose | Stock | Service | Calibration | ResponseCheck | Note


@dataclass(frozen=True, slots=True)
class Correction:
    """A person takes back entry `of` of the journal, which stays there, or says it otherwise:
    `word` is what holds instead (None: nothing). `of` may be a correction: taken back, what was
    said before it holds again."""

    time_s: float
    tank: str
    of: int
    word: Word | None = None
    logged_s: float | None = None


@dataclass(frozen=True, slots=True)
class SourceLearnt:
    """What is known of a source, told when a test or a refill of one tank has taught it, to every
    other tank on it as well. `log_mean`, `log_sd`: of the natural logarithm of total chlorine
    [mg/L as Cl2] at the tap at `learnt_s` [s]; `taught`: by how many tests and refills;
    `breakthrough`: the probability that a filter lets the raw water through, as of when
    `litres_tested` of the `litres` [L] had passed its cartridge; `disinfectant`: what a test showed
    it to be, empty where none did; `changed`: it was found to be another water, and no test has
    agreed since; `told_by`: the other service that told it, empty where it was learnt here;
    `corrected`: a word was taken back, so this holds whatever was known."""

    time_s: float
    tank: str
    source: str
    log_mean: float
    log_sd: float
    learnt_s: float
    taught: int
    breakthrough: float
    told_by: str = ""
    litres: float = 0.0
    litres_tested: float = 0.0
    disinfectant: Literal["chlorine", "chloramine", "unknown", ""] = ""
    changed: bool = False
    corrected: bool = False


@dataclass(frozen=True, slots=True)
class StockLeft:
    """What is left of a neutraliser by what was logged, told when that changes, to every other
    tank that uses it as well. `open_ml` in the opened bottle (None: never counted), `closed_ml` in
    bottles not yet opened; `opened_s`: when it was opened; what was drawn before `counted_s` is in
    the count; `drawn_s`: when the newest amount was drawn; `untold`: refills since the count whose
    amount was not told. `refills_ml`, `refills_litres`: neutraliser and water of this tank's last
    refills, as far as told."""

    time_s: float
    tank: str
    neutraliser: str
    open_ml: float | None = None
    closed_ml: float = 0.0
    opened_s: float | None = None
    counted_s: float = 0.0
    drawn_s: float = 0.0
    untold: int = 0
    refills_ml: tuple[float, ...] = ()
    refills_litres: tuple[float, ...] = ()

    @property
    def left_ml(self) -> float | None:
        """All that is left [mL]; None where nothing was counted."""
        return None if self.open_ml is None else round(self.open_ml + self.closed_ml, 3)


@dataclass(frozen=True, slots=True)
class MachineState:
    """What the service finds out about the machine under it, told when it changes and at each
    start; `holds` is None where it cannot be told."""

    time_s: float
    tank: str
    name: MachineCondition
    holds: bool | None
    detail: str = ""
