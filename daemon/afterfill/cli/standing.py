"""How a tank stands now: what the service told last, as long as the service runs and reads.

What is unknown is never shown as safe.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from afterfill.alarms.definitions import DEFINITIONS
from afterfill.cli.latest import alarms, allowed_age_s, usable_readings
from afterfill.cli.times import age
from afterfill.config import Config
from afterfill.journal.newest import Newest, newest
from afterfill.journal.store import Journal
from afterfill.journal.words import as_told, told_of
from afterfill.record_kinds import KIND_OF
from afterfill.records import (
    AlarmChange,
    Estimate,
    Quantity,
    Reading,
    Standing,
    StandingWord,
    Verdict,
)
from afterfill.service.liveness import Liveness
from afterfill.tank_table import bounds_of

WORDS: dict[StandingWord, str] = {
    "safe": "safe as far as the probes can see",
    "not-safe": "NOT SAFE",
    "cannot-tell": "CANNOT TELL",
    "learning": "LEARNING",
}
_MOST_VERDICTS = 100
AHEAD_S = 5.0  # clocks of one machine read a moment apart do not differ by this


@dataclass(frozen=True, slots=True)
class Stands:
    """`since_s`: since when the word holds, on the journal's clock (None: not known), which is
    `since_age_s` ago; `ages_s`: of each probe's newest usable reading; `estimate_age_s`: of the
    estimate; `ahead_s`: by how much the journal's clock is ahead of this machine's, 0 if not."""

    tank: str
    word: StandingWord
    why: str
    since_s: float | None
    since_age_s: float | None
    ages_s: Mapping[Quantity, float]
    runs: bool | None
    estimate: Estimate | None
    estimate_age_s: float | None
    verdict: Verdict | None
    alarms: tuple[AlarmChange, ...]
    limit_mg_l: float
    ammonia_limit_mg_l: float
    ahead_s: float

    @property
    def age_s(self) -> float | None:
        """Of the newest usable reading of any probe [s]; None when there is none."""
        return min(self.ages_s.values(), default=None)


def stands(journal: Journal, config: Config, tank: str, live: Liveness) -> Stands:
    """How `tank` stands at `live.now`."""
    bounds, now = bounds_of(config.tank[tank]), newest(journal, Estimate, tank)
    told, verdict = newest(journal, Standing, tank), _last_verdict(journal, tank)
    read = _newest_usable(journal, config, tank)
    ages_s = {q: live.age_s(known.stamp) for q, known in read.items()}
    estimate_age_s = None if now is None else live.age_s(now.stamp)
    active = [a for a in alarms(journal, tank, DEFINITIONS).values() if a.active]
    trouble = _trouble(live.runs, ages_s, estimate_age_s, allowed_age_s(config))
    word, why, since_s, since_age_s = _word(told, now, trouble, live)
    return Stands(
        tank, word, why, since_s, since_age_s, ages_s, live.runs,
        None if now is None else now.record, estimate_age_s,
        verdict,
        tuple(active), bounds.residual_oxidant_mg_l, bounds.free_ammonia_mg_l,
        max((ahead_s(known, live) for known in (now, *read.values()) if known), default=0.0),
    )  # fmt: skip


def _last_verdict(journal: Journal, tank: str) -> Verdict | None:
    """The newest verdict, of a refill that was not taken back."""
    entries = journal.latest(KIND_OF[Verdict], tank, _MOST_VERDICTS)
    held = as_told(entries, told_of(journal, tank))
    return next((it for it in held if isinstance(it, Verdict)), None)


def ahead_s(known: Newest[Reading] | Newest[Estimate], live: Liveness) -> float:
    """By how much [s] a record lies ahead of when it was written, as the clock of now has it."""
    written_s = live.now.time_s - live.age_s(known.stamp)
    lead_s = known.record.time_s - written_s
    return lead_s if lead_s > AHEAD_S else 0.0


def _newest_usable(journal: Journal, config: Config, tank: str) -> dict[Quantity, Newest[Reading]]:
    quantity = {probe.name: probe.quantity for probe in config.probe if probe.tank == tank}
    found = usable_readings(journal, tank, quantity)
    return {quantity[name]: known for name, known in found.items()}


def _trouble(
    runs: bool | None,
    ages_s: Mapping[Quantity, float],
    estimate_age_s: float | None,
    allowed_s: float,
) -> str:
    """Why what was told last says nothing about now; empty when it does."""
    if runs is False:
        return "the service is not running"
    if not ages_s or estimate_age_s is None:
        return "nothing has been read and estimated yet"
    if min(ages_s.values()) > allowed_s:
        old = age(min(ages_s.values()))
        return f"the service does not read: its newest usable reading is {old} old"
    if estimate_age_s > allowed_s:
        return f"the service does not judge: its newest estimate is {age(estimate_age_s)} old"
    return ""


def _word(
    told: Newest[Standing] | None, now: Newest[Estimate] | None, trouble: str, live: Liveness
) -> tuple[StandingWord, str, float | None, float | None]:
    if trouble or told is None or now is None:
        since_s = None if now is None else now.record.time_s
        since_age_s = None if now is None else live.age_s(now.stamp)
        return "cannot-tell", trouble or "the service has judged nothing yet", since_s, since_age_s
    standing = told.record
    since_age_s = live.age_s(told.stamp) + max(standing.time_s - standing.since_s, 0.0)
    return standing.standing, standing.why, standing.since_s, since_age_s
