"""What was: refills with their verdicts, alarms, and the report of each."""

from collections.abc import Iterator
from urllib.parse import quote

from afterfill.cli.times import moment
from afterfill.journal.store import Journal
from afterfill.journal.words import as_told, told_of
from afterfill.page.layout import link, path_of, sentence
from afterfill.planning.shown import Shown
from afterfill.records import AlarmChange, Refill, Verdict
from afterfill.report.markup import Html, joined, tag
from afterfill.report.span import refill_times_s
from afterfill.report.words import VERDICT_TITLES, per_cent, volume_words
from afterfill.sinks.notify.text import title_of
from afterfill.wire import rfc3339

_MOST = 40
_LOOK_BACK = 500
_BEFORE_S, _AFTER_S = 3600.0, 4 * 3600.0  # of an alarm's report; our judgement


def history_html(journal: Journal, tank: str, shown: Shown, now_s: float) -> Html:
    """Both lists, the newest first. Raises JournalError."""
    refills, raised = (
        list(_refills(journal, tank, shown, now_s)),
        list(_raised(journal, tank, now_s)),
    )
    return joined(
        tag("h1", f"{tank}: what was"),
        tag("p", link(path_of(tank, "/months"), "Months side by side")),
        tag("h2", "Refills"),
        tag("ul", *refills, class_="rows") if refills else tag("p", "None yet."),
        tag("h2", "Alarms"),
        tag("ul", *raised, class_="rows") if raised else tag("p", "None yet."),
    )


def _refills(journal: Journal, tank: str, shown: Shown, now_s: float) -> Iterator[Html]:
    corrected = told_of(journal, tank)
    said = as_told(journal.latest("refill", tank, _LOOK_BACK), corrected)
    told = {it.time_s: it for it in said if isinstance(it, Refill)}
    verdicts: dict[float, Verdict] = {}
    for it in as_told(journal.latest("verdict", tank, _LOOK_BACK), corrected):
        if isinstance(it, Verdict):
            verdicts.setdefault(it.refill_time_s, it)
    for time_s in reversed(refill_times_s(journal, tank)[-_MOST:]):
        refill, verdict = told.get(time_s), verdicts.get(time_s)
        words = "not announced" if refill is None else volume_words(refill, shown)
        to = path_of(tank, f"/report?refill={quote(rfc3339(time_s))}")
        yield tag(
            "li",
            link(to, f"{moment(time_s, now_s)}: {_verdict(verdict)}"),
            tag("p", sentence(words), class_="soft"),
        )


def _verdict(verdict: Verdict | None) -> str:
    if verdict is None:
        return "no verdict"
    state = "" if verdict.final else ", still watched"
    return (
        f"{VERDICT_TITLES[verdict.verdict].lower()}{state}, "
        f"carry-over {per_cent(verdict.probability)}"
    )


def _raised(journal: Journal, tank: str, now_s: float) -> Iterator[Html]:
    before: dict[str, str] = {}
    found: list[AlarmChange] = []
    for entry in reversed(journal.latest("alarm", tank, _LOOK_BACK)):
        change = entry.record
        if isinstance(change, AlarmChange):
            if change.state == "unacknowledged" != before.get(change.alarm):
                found.append(change)
            before[change.alarm] = change.state
    for change in reversed(found[-_MOST:]):
        from_s, to_s = change.time_s - _BEFORE_S, min(change.time_s + _AFTER_S, now_s)
        span = f"?from={quote(rfc3339(from_s))}&to={quote(rfc3339(to_s))}"
        words = f"{moment(change.time_s, now_s)}: {title_of(change.alarm)}"
        priority = tag("p", f"{change.priority.capitalize()} priority.", class_="soft")
        yield tag("li", link(path_of(tank, f"/report{span}"), words), priority)
