"""What a report says, in words that a keeper reads. Pure: records in, sentences out."""

import math
from collections.abc import Callable
from datetime import datetime, tzinfo

from afterfill.chemistry.doses import DoseUnit, dose_words
from afterfill.figures import figure
from afterfill.planning.shown import Shown
from afterfill.records import (
    AlarmCommand,
    Calibration,
    Dose,
    Evidence,
    KitResult,
    Note,
    Refill,
    RefillSeen,
    ResponseCheck,
    Service,
    Stock,
    Verdict,
    VerdictWord,
)
from afterfill.report.gathered import Done

Moment = Callable[[float], str]

VERDICT_TITLES: dict[VerdictWord, str] = {
    "clear": "Clear",
    "possible": "Possible",
    "carried-over": "Carried over",
    "cannot-tell": "Cannot tell",
}
_MEANINGS: dict[VerdictWord, str] = {
    "clear": (
        "Hardly any disinfectant can have got into the tank: what the probe could have seen is not "
        "there, or the water was too little to matter."
    ),
    "possible": "Disinfectant may have got into the tank. A DPD total-chlorine test tells.",
    "carried-over": "Disinfectant got into the tank, over the limit for its fish.",
    "cannot-tell": (
        "Too little was seen to say. This is no all-clear: a DPD total-chlorine test tells."
    ),
}
_SOURCES = {
    "mass balance": "what was poured and dosed, and how often people forget",
    "orp": "the ORP probe",
    "temperature": "the temperature probe",
    "ph": "the pH probe",
    "kit": "test kits",
}
_WEAK, _STRONG, _VERY_STRONG = 0.5, 2.0, 4.6  # log odds: 1.6, 7 and 100 times; our judgement

CAUTIONS = (
    "Fish that gasp, dart or lie on the bottom need help now, whatever this page says. afterfill "
    "is no vet: ask one.",
    "Never mix chemicals. Dose neutraliser as its label says, for the whole tank's water, and "
    "aerate.",
    "This is not a drinking-water instrument, and no substitute for a test kit. Chlorine and "
    "ammonia here are estimates of a model, not measurements.",
)


def moments(zone: tzinfo | None) -> Moment:
    """How instants [Unix s] are written, on the clock of `zone`."""

    def moment(time_s: float) -> str:
        then = datetime.fromtimestamp(time_s, zone)
        return f"{then.day} {then:%b %Y, %H:%M}"

    return moment


def per_cent(probability: float) -> str:
    """``57 %``; what is nearly sure is not called sure."""
    if probability < 0.005:
        return "less than 1 %"
    return "more than 99 %" if probability > 0.995 else f"{100.0 * probability:.0f} %"


def meaning(verdict: Verdict) -> str:
    """What the verdict means."""
    return _MEANINGS[verdict.verdict]


def evidence_words(evidence: Evidence) -> str:
    """``the ORP probe: very strongly for a carry-over (its odds 25 times higher)``."""
    source = _SOURCES.get(evidence.source, evidence.source)
    size = abs(evidence.log_odds)
    if size < 0.1:
        return f"{source}: says nothing either way"
    how = "weakly" if size < _WEAK else "clearly" if size < _STRONG else "strongly"
    how = "very strongly" if size >= _VERY_STRONG else how
    side, way = ("for", "higher") if evidence.log_odds > 0.0 else ("against", "lower")
    return f"{source}: {how} {side} a carry-over (its odds {_times(size)} {way})"


def _times(log_odds: float) -> str:
    times = math.exp(log_odds)
    return "more than 1000 times" if times > 1000.0 else f"{figure(times)} times"


def volume_words(refill: Refill, shown: Shown) -> str:
    """How much, and how."""
    volume = "volume not known" if refill.litres is None else shown.text(f"{refill.litres:.4g} L")
    how = "drained and refilled" if refill.mode == "replace" else "added to what was there"
    minutes = "" if refill.minutes is None else f", over {refill.minutes:g} min"
    return f"{volume}, {how}{minutes}"


def neutraliser_words(refill: Refill, unit: DoseUnit) -> str:
    """What went in against the disinfectant, as it was told."""
    if refill.neutraliser_ml is None:
        return "not known"
    return dose_words(refill.neutraliser_ml, unit) if refill.neutraliser_ml else "none"


def seen_words(seen: RefillSeen) -> str:
    """How a refill came to be watched, and how much of the tank it may have been."""
    low, _, high = (100.0 * share for share in seen.fraction)
    how = "announced" if seen.origin == "announced" else "not announced: the readings told"
    return f"{how}; {low:.0f} to {high:.0f} % of the tank"


def done_words(done: Done, unit: DoseUnit) -> str:
    """What a person did."""
    match done:
        case Dose():
            return f"{dose_words(done.neutraliser_ml, unit)} of neutraliser into the tank"
        case Stock(neutraliser_ml=ml):
            much = "a bottle" if ml is None else dose_words(ml, unit)
            return f"neutraliser {done.what}: {much}"
        case Service():
            return f"work on the tank: {probe_out_words(done) or done.what}"
        case Calibration():
            return f"{done.quantity} probe held against standards"
        case ResponseCheck():
            return f"response of the ORP probe checked: a step of {done.step_mv:.0f} mV"
        case Note():
            return f"note: {done.text}"
        case AlarmCommand(action="shelve"):
            return f"alarm {done.alarm} shelved for {done.minutes or 0:g} min"
        case AlarmCommand(action="acknowledge"):
            return f"alarm {done.alarm} acknowledged"
        case _:
            because = f", because: {done.reason}" if done.reason else ""
            return f"alarm {done.alarm}: {done.action}{because}"


def probe_out_words(work: Service) -> str:
    """Which probe it was, and whether it was taken out or put back; empty where it is not said."""
    if work.quantity is None:
        return ""
    if work.minutes is None:
        return f"{work.quantity} probe"
    return f"{work.quantity} probe " + ("out of the tank" if work.minutes else "back in the tank")


def kit_words(kit: KitResult) -> str:
    """What a test kit showed."""
    values = (
        ("total chlorine", kit.total_chlorine_mg_l, " mg/L as Cl2"),
        ("free chlorine", kit.free_chlorine_mg_l, " mg/L as Cl2"),
        ("total ammonia", kit.total_ammonia_mg_l, " mg/L as N"),
        ("pH", kit.ph, ""),
    )
    return "; ".join(f"{name} {value:g}{unit}" for name, value, unit in values if value is not None)
