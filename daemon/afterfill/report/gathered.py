"""All that a journal holds of one stretch of a tank's life, sorted by what it is."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from afterfill.journal.store import Journal
from afterfill.journal.words import between_as_told
from afterfill.record_kinds import words_of
from afterfill.records import (
    AlarmChange,
    AlarmCommand,
    Calibration,
    Dose,
    Estimate,
    KitResult,
    Note,
    Quantity,
    Reading,
    Refill,
    RefillSeen,
    ResponseCheck,
    Service,
    Stock,
    Verdict,
)

_KINDS = words_of(lambda kind: kind.report)
_SAME_SPAN_S = 900.0  # estimates further apart than this are no unbroken span; our judgement
Done = AlarmCommand | Dose | Stock | Service | Calibration | ResponseCheck | Note


@dataclass
class Gathered:
    """Records of [from_s, to_s) [Unix s], each list in order of time."""

    tank: str
    from_s: float
    to_s: float
    readings: dict[Quantity, list[Reading]] = field(default_factory=dict)
    estimates: list[Estimate] = field(default_factory=list)
    refills: list[Refill] = field(default_factory=list)
    seen: list[RefillSeen] = field(default_factory=list)
    verdicts: list[Verdict] = field(default_factory=list)
    alarms: list[AlarmChange] = field(default_factory=list)
    done: list[Done] = field(default_factory=list)
    kits: list[KitResult] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class BlindSpan:
    """From the first to the last estimate [Unix s] of an unbroken run that could not see."""

    from_s: float
    to_s: float
    why: str


def gathered(journal: Journal, tank: str, from_s: float, to_s: float) -> Gathered:
    """What the journal holds of `tank` in [from_s, to_s). Raises JournalError."""
    found = Gathered(tank, from_s, to_s)
    for record in between_as_told(journal, tank, from_s, to_s, _KINDS):
        match record:
            case Reading() as reading:
                found.readings.setdefault(reading.quantity, []).append(reading)
            case Estimate() as estimate:
                found.estimates.append(estimate)
            case Refill() as refill:
                found.refills.append(refill)
            case RefillSeen() as seen:
                found.seen.append(seen)
            case Verdict() as verdict:
                found.verdicts.append(verdict)
            case AlarmChange() as alarm:
                found.alarms.append(alarm)
            case KitResult() as kit:
                found.kits.append(kit)
            case (
                AlarmCommand()
                | Dose()
                | Stock()
                | Service()
                | Calibration()
                | ResponseCheck()
                | Note()
            ) as work:
                found.done.append(work)
    return found


def blind_spans(estimates: Sequence[Estimate]) -> list[BlindSpan]:
    """The stretches in which the ORP could not be used, each with its reason."""
    spans: list[BlindSpan] = []
    before: Estimate | None = None
    for now in estimates:
        if not now.sees:
            why = _lasting(now.why_blind or "the ORP cannot be used")
            last = spans[-1] if spans else None
            follows = before is not None and now.time_s - before.time_s <= _SAME_SPAN_S
            if last and follows and before and not before.sees and last.why == why:
                spans[-1] = BlindSpan(last.from_s, now.time_s, why)
            else:
                spans.append(BlindSpan(now.time_s, now.time_s, why))
        elif spans and before and not before.sees:
            spans[-1] = BlindSpan(spans[-1].from_s, now.time_s, spans[-1].why)
        before = now
    return spans


def _lasting(why: str) -> str:
    """A reason without the minutes that it counts."""
    return re.sub(r"(: \d+ min of quiet readings to go| for \d+ min)$", "", why)


def floors_mg_l(estimates: Sequence[Estimate]) -> tuple[float, float] | None:
    """Lowest and highest detection floor [mg/L as Cl2]; None where none was known."""
    known = [e.detection_floor_mg_l for e in estimates if e.detection_floor_mg_l is not None]
    return (min(known), max(known)) if known else None


def raised(alarms: Sequence[AlarmChange]) -> list[AlarmChange]:
    """The transitions of those alarms that were ever anything but normal; another word about a dose
    is none."""
    told, kept = {a.alarm for a in alarms if a.state != "normal"}, list[AlarmChange]()
    newest: dict[str, AlarmChange] = {}
    for change in (a for a in alarms if a.alarm in told):
        old = newest.get(change.alarm)
        if old is None or _stands(old) != _stands(change) or old.advice == change.advice:
            kept.append(change)
        newest[change.alarm] = change
    return kept


def _stands(change: AlarmChange) -> tuple[object, ...]:
    return change.state, change.active, change.known


def answers(found: Gathered) -> list[Verdict]:
    """Of each refill the newest verdict, in order of the refills."""
    newest = {v.refill_time_s: v for v in found.verdicts}
    return [newest[time_s] for time_s in sorted(newest)]
