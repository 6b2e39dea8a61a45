"""What is found: estimates, forecasts, refills, verdicts, alarms, and what was learnt."""

from dataclasses import dataclass
from typing import Literal

from afterfill.records.words import (
    AlarmState,
    Disinfectant,
    Priority,
    Quantiles,
    SourceKind,
    StandingWord,
    VerdictWord,
)


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
    that is `unacknowledged` and not `active` is latched. `advice`: the dose for this tank, or why
    there is none, where the alarm is a matter of a dose and holds."""

    time_s: float
    tank: str
    alarm: str
    state: AlarmState
    priority: Priority
    active: bool
    message: str = ""
    known: bool = True
    first_out: bool = False
    advice: str = ""


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
class SourceBelieved:
    """What is believed of a source that a tank draws from, told when that has changed, and daily.
    `water`: as it comes, behind a filter, or stored; `residual_mg_l`: total chlorine [mg/L as Cl2]
    as it comes, stored water as it stands; `learnt_s`: when a test or refill last taught it, None
    where it is as configured, `taught` how many did; `breakthrough`: of a filter, probability that
    it lets the raw water through; `cartridge_share` of what its cartridge treats has passed it;
    `changed`: it was found to be another water, and no test has agreed since."""

    time_s: float
    tank: str
    source: str
    water: SourceKind
    disinfectant: Disinfectant
    residual_mg_l: Quantiles
    learnt_s: float | None
    taught: int
    breakthrough: float | None
    cartridge_share: float | None
    changed: bool


@dataclass(frozen=True, slots=True)
class RefillReady:
    """Whether a refill may begin now as far as can be told, and why not; told when that changes.
    Advice for an automation that pours: it is no permission, and nothing is switched."""

    time_s: float
    tank: str
    ready: bool
    why: tuple[str, ...]


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
class ForecastCheck:
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
