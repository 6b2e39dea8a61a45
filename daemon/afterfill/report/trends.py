"""Months side by side: what was poured and found, what the probe saw, what the tap held."""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime, tzinfo
from statistics import median

from afterfill.journal.store import Journal
from afterfill.journal.words import between_as_told
from afterfill.record_kinds import words_of
from afterfill.records import (
    AlarmChange,
    Calibration,
    Dose,
    Estimate,
    ProbeLearnt,
    Quantiles,
    Refill,
    ResponseCheck,
    SourceBelieved,
    StockLeft,
    Verdict,
    VerdictWord,
)
from afterfill.report.samples import estimates_each

_OF = (Refill, Dose, Verdict, AlarmChange, Calibration, ResponseCheck, ProbeLearnt,
       SourceBelieved, StockLeft)  # fmt: skip
_KINDS = words_of(lambda kind: kind.record_type in _OF)
_EVERY_S = 6 * 3600.0  # four estimates a day show how the probe ages


@dataclass
class Month:
    """One month of a tank, from `from_s` to `to_s` [Unix s]. Volumes L, neutraliser in its own
    unit, as far as told; `high_alarms`: how often one began to hold, of which those `ringing` hold
    on; `works`: calibrations and tests of the probes; `floors_mg_l`, `seen`: the detection floor
    [mg/L as Cl2] and whether the ORP could be used, four times a day. As believed at the end:
    `tap_mg_l`, what the source holds, `ph_slope_mv` of the ORP probe [mV per pH], and the
    neutraliser `left`, open and closed."""

    from_s: float
    to_s: float
    refills: dict[float, Refill] = field(default_factory=dict)
    doses: list[Dose] = field(default_factory=list)
    verdicts: dict[float, Verdict] = field(default_factory=dict)
    high_alarms: int = 0
    ringing: set[str] = field(default_factory=set)
    works: list[Calibration | ResponseCheck] = field(default_factory=list)
    floors_mg_l: list[float] = field(default_factory=list)
    seen: list[bool] = field(default_factory=list)
    tap_mg_l: Quantiles | None = None
    ph_slope_mv: float | None = None
    left: float | None = None

    @property
    def litres(self) -> float:
        """What was told of the water that was poured."""
        return sum(it.litres or 0.0 for it in self.refills.values())

    @property
    def neutraliser(self) -> float:
        """What was told of the neutraliser that was used."""
        poured = sum(it.neutraliser_ml or 0.0 for it in self.refills.values())
        return poured + sum(it.neutraliser_ml for it in self.doses)

    @property
    def floor_mg_l(self) -> float | None:
        """The middle detection floor of the month."""
        return median(self.floors_mg_l) if self.floors_mg_l else None

    @property
    def saw(self) -> float | None:
        """In which share of the month the ORP could be used."""
        return sum(self.seen) / len(self.seen) if self.seen else None

    def count(self, word: VerdictWord) -> int:
        """How many refills ended so."""
        return Counter(verdict.verdict for verdict in self.verdicts.values())[word]

    @property
    def highest(self) -> Verdict | None:
        """The refill with the highest residual, by its middle figure."""
        return max(self.verdicts.values(), key=lambda it: it.peak_residual_mg_l.q50, default=None)


def months(
    journal: Journal, tank: str, count: int, now_s: float, zone: tzinfo | None
) -> list[Month]:
    """The last `count` calendar months on the clock of `zone`, the newest last. Raises
    JournalError."""
    found = [Month(*span) for span in _spans(count, now_s, zone)]
    for before, month in zip([None, *found], found, strict=False):
        month.ringing |= set() if before is None else before.ringing
        for record in between_as_told(journal, tank, month.from_s, month.to_s, _KINDS):
            if isinstance(record, Verdict):
                _judge(found, record)
            else:
                _take(month, record)
        _sample(month, estimates_each(journal, tank, month.from_s, month.to_s, _EVERY_S))
    return found


def _spans(count: int, now_s: float, zone: tzinfo | None) -> Sequence[tuple[float, float]]:
    now = datetime.fromtimestamp(now_s, zone)
    number = 12 * now.year + now.month - 1
    begins = [_begin_s(n, zone) for n in range(number - count + 1, number + 2)]
    ends = [*begins[1:-1], now_s]
    return list(zip(begins[:-1], ends, strict=True))


def _begin_s(number: int, zone: tzinfo | None) -> float:
    return datetime(number // 12, number % 12 + 1, 1, tzinfo=zone).timestamp()


def _judge(found: Sequence[Month], verdict: Verdict) -> None:
    """A refill counts in the month of its pour, also when its watch ends in the next one."""
    for month in found:
        if verdict.final and month.from_s <= verdict.refill_time_s < month.to_s:
            month.verdicts[verdict.refill_time_s] = verdict


def _take(month: Month, record: object) -> None:
    match record:
        case Refill():
            month.refills[record.time_s] = record  # what is said again of a refill amends it
        case Dose():
            month.doses.append(record)
        case AlarmChange(priority="high", active=True):
            month.high_alarms += record.alarm not in month.ringing
            month.ringing.add(record.alarm)
        case AlarmChange(priority="high"):
            month.ringing.discard(record.alarm)
        case Calibration() | ResponseCheck():
            month.works.append(record)
        case ProbeLearnt():
            month.ph_slope_mv = record.ph_slope_mv
        case SourceBelieved():
            month.tap_mg_l = record.residual_mg_l
        case StockLeft(open_ml=float(open_ml)):
            month.left = open_ml + record.closed_ml


def _sample(month: Month, estimates: Iterator[Estimate]) -> None:
    for estimate in estimates:
        month.seen.append(estimate.sees)
        if estimate.detection_floor_mg_l is not None:
            month.floors_mg_l.append(estimate.detection_floor_mg_l)
