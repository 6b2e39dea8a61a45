"""How a tank stands now, from the journal alone: safe as far as seen, not safe, or cannot tell.

What is unknown is never shown as safe.
"""

from dataclasses import dataclass

from afterfill.alarms.definitions import DEFINITIONS
from afterfill.alarms.standing import Word, word_of
from afterfill.cli.latest import (
    alarms,
    allowed_age_s,
    newest_estimate,
    newest_reading,
    newest_verdict,
)
from afterfill.cli.times import age
from afterfill.config import Config
from afterfill.journal.store import Journal
from afterfill.records import AlarmChange, Estimate, Verdict
from afterfill.tank_setup import tank_setup

WORDS: dict[Word, str] = {
    "safe": "safe as far as the probes can see",
    "not-safe": "NOT SAFE",
    "cannot-tell": "CANNOT TELL",
}
DANGERS = ("residual-oxidant", "free-ammonia")
_LOOK_BACK = 1440  # estimates, a day of them, to find since when


@dataclass(frozen=True, slots=True)
class Standing:
    """`since_s`: since when the word has held (None: not known); `age_s`: of the newest reading."""

    tank: str
    word: Word
    why: str
    since_s: float | None
    age_s: float | None
    estimate: Estimate | None
    verdict: Verdict | None
    alarms: tuple[AlarmChange, ...]
    limit_mg_l: float
    ammonia_limit_mg_l: float


@dataclass(frozen=True, slots=True)
class _Limits:
    ammonia_mg_l: float
    ammonia_is_watched: bool


def standing(journal: Journal, config: Config, tank: str, now_s: float) -> Standing:
    """The standing of `tank` at `now_s` [Unix s]."""
    setup = tank_setup(config, tank)
    watched = {"ph", "temperature"} <= set(setup.every_s)
    limits = _Limits(setup.free_ammonia_limit_mg_l, watched)
    newest, now = newest_reading(journal, tank), newest_estimate(journal, tank)
    active = [a for a in alarms(journal, tank, DEFINITIONS).values() if a.active]
    age_s = None if newest is None else max(0.0, now_s - newest.time_s)
    word, why, since_s = _judged(journal, now, active, limits, age_s, now_s, allowed_age_s(config))
    return Standing(
        tank, word, why, since_s, age_s, now, newest_verdict(journal, tank), tuple(active),
        setup.inference.limit_mg_l, limits.ammonia_mg_l,
    )  # fmt: skip


def _judged(
    journal: Journal,
    now: Estimate | None,
    active: list[AlarmChange],
    limits: _Limits,
    age_s: float | None,
    now_s: float,
    allowed_s: float,
) -> tuple[Word, str, float | None]:
    if age_s is None or now is None:
        return "cannot-tell", "nothing has been read and estimated yet", None
    if age_s > allowed_s or now_s - now.time_s > allowed_s:
        return "cannot-tell", _stale(age_s, now_s - now.time_s), max(now.time_s, now_s - age_s)
    dangers = [a for a in active if a.alarm in DANGERS]
    if dangers:
        since_s = min(_active_since_s(journal, alarm) for alarm in dangers)
        return "not-safe", "; ".join(DEFINITIONS[a.alarm].cause for a in dangers), since_s
    word, why = _word_of(now, limits)
    return word, why, _since_s(journal, now, limits, word, allowed_s)


def _stale(reading_age_s: float, estimate_age_s: float) -> str:
    oldest = max(reading_age_s, estimate_age_s)
    return f"the service is not running or not reading: its newest reading is {age(oldest)} old"


def _word_of(now: Estimate, limits: _Limits) -> tuple[Word, str]:
    return word_of(now, limits.ammonia_mg_l, limits.ammonia_is_watched)


def _since_s(
    journal: Journal, now: Estimate, limits: _Limits, word: Word, allowed_s: float
) -> float:
    """The time [s] of the oldest estimate in an unbroken run that says the same."""
    since_s = now.time_s
    for entry in journal.latest("estimate", now.tank, _LOOK_BACK):
        record = entry.record
        if not isinstance(record, Estimate) or since_s - record.time_s > allowed_s:
            break
        if _word_of(record, limits)[0] != word:
            break
        since_s = record.time_s
    return since_s


def _active_since_s(journal: Journal, alarm: AlarmChange) -> float:
    since_s = alarm.time_s
    for entry in journal.latest("alarm", alarm.tank, _LOOK_BACK):
        record = entry.record
        if isinstance(record, AlarmChange) and record.alarm == alarm.alarm:
            if not record.active:
                break
            since_s = record.time_s
    return since_s
