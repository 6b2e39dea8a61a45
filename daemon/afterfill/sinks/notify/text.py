"""What a person is told, in plain words: pure, from notices to a subject and a text.

Order of a text: what, how long there is, what to do first, what not to do; only then how sure it
is, since when, why, and what would change the picture. A phone shows the beginning.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from urllib.parse import quote

from afterfill.alarms.definition import Steps
from afterfill.alarms.definitions import DEFINITIONS, RESIDUAL_OXIDANT
from afterfill.alarms.water_definitions import CHLORINE_TEST
from afterfill.figures import span_words
from afterfill.records import Estimate, Quantiles, Verdict
from afterfill.sinks.notify.rules import Due, Notice
from afterfill.sinks.notify.state import Episode

LONGEST_SUBJECT = 60  # about what a phone shows of it; our judgement
_NEWS_AFTER_S = 120.0  # an estimate so much younger than the alarm is worth a line

CAUTION = (
    "Fish that gasp, dart or lie on the bottom need help now, whatever this says. afterfill is no "
    "vet: ask one. It is not a drinking-water instrument, and no substitute for a test kit."
)
SHORT_CAUTION = (
    "afterfill is no vet and no drinking-water instrument, and no substitute for a test kit."
)
_COMMAND = re.compile(r"`afterfill ((?:log|plan)\b(?![^`]*--tank)[^`]*)`")
_DOSE_BY_NOW = "how much it needs by now, if any, and of what: `afterfill plan --rescue`"
_DOUBTFUL = Steps("treat the water as doubtful", ("test with DPD (total chlorine)",))


@dataclass(frozen=True, slots=True)
class Scene:
    """What is known when the text is written. `local` gives the keeper's own time of an instant
    [Unix s]; `estimates`: the newest of each tank; `page_url`: where the page is, None for none."""

    time_s: float
    local: Callable[[float], datetime]
    estimates: Mapping[str, Estimate]
    page_url: str | None = None

    def moment(self, time_s: float) -> str:
        """``14:05``, with its date when that is not today's."""
        then, today = self.local(time_s), self.local(self.time_s).date()
        return then.strftime("%H:%M" if then.date() == today else "%H:%M on %Y-%m-%d")


def subject_of(due: Due) -> str:
    """A line short enough for a phone."""
    first, more = due.notices[0], len(due.notices) - 1 + due.skipped
    if due.digest:
        return f"After quiet hours: {more + 1} from tank {_tanks(due)}"[:LONGEST_SUBJECT]
    tail = f", and {more} more" if more else ""
    head = _heading(first)
    room = LONGEST_SUBJECT - len(tail)
    return (head if len(head) <= room else head[: room - 1] + "…") + tail


def _tanks(due: Due) -> str:
    return ", ".join(dict.fromkeys(notice.about.tank for notice in due.notices))


def _heading(notice: Notice) -> str:
    about = notice.about
    if isinstance(about, Verdict):
        word = "a refill carried over"
        return f"{about.tank}: {word if about.verdict == 'carried-over' else 'no verdict'}"
    title = title_of(about.alarm)
    match notice.what:
        case "raised":
            return f"{about.priority.upper()} {about.tank}: {title}"
        case "still":
            return f"STILL {about.priority.upper()} {about.tank}: {title}"
        case _:
            return f"Over, {about.tank}: {title}"


def title_of(alarm: str) -> str:
    """The alarm in plain words."""
    definition = DEFINITIONS.get(alarm)
    return definition.title if definition else alarm.replace("-", " ")


def text_of(due: Due, scene: Scene) -> str:
    """The whole text."""
    sections = [_section(notice, scene) for notice in due.notices]
    if due.digest:
        sections.insert(0, "This waited for the end of your quiet hours.")
    elif len(sections) > 1:
        sections.insert(0, f"{len(sections)} things in one message.")
    if due.skipped:
        sections.append(f"And {due.skipped} older final verdicts that were no all-clear.")
    threatens = any(map(_threatens_fish, due.notices))
    return "\n\n".join([*sections, CAUTION if threatens else SHORT_CAUTION]) + "\n"


def _threatens_fish(notice: Notice) -> bool:
    """A verdict, or an alarm about the water that holds, or is not known here."""
    if isinstance(notice.about, Verdict):
        return True
    definition = DEFINITIONS.get(notice.about.alarm)
    about_water = definition is None or definition.group == "water"
    return about_water and notice.what in ("raised", "still")


def _section(notice: Notice, scene: Scene) -> str:
    about = notice.about
    if isinstance(about, Verdict):
        lines = _of_verdict(about, scene)
    elif notice.what in ("raised", "still"):
        lines = _of_standing(about, scene, again=notice.what == "still")
    else:
        lines = _of_ended(about, scene, told=notice.what == "over")
    text = "\n".join(line for line in lines if line)
    return _COMMAND.sub(rf"`afterfill \1 --tank {about.tank}`", text)


def _of_standing(it: Episode, scene: Scene, *, again: bool) -> list[str]:
    definition = DEFINITIONS.get(it.alarm)
    head = [
        f"Tank {it.tank}: {title_of(it.alarm)}.",
        f"Alarm {it.alarm}, priority {it.priority}, {it.state}" + _count(it, again),
    ]
    since = f"Since: {scene.moment(it.raised_s)}, for {span(scene.time_s - it.raised_s)}."
    if definition is None:
        return [*head, f"\nSeen: {it.message}.", since, _acknowledge(it, scene)]
    return [
        *head,
        f"\nTime to act: {definition.time_to_respond}.",
        *_of_steps(definition.steps, it.advice),
        f"\n{'How sure' if definition.estimated else 'Seen'}: {it.message}.",
        _news(it, scene) if definition.estimated else "",
        since,
        _labelled("Cause", definition.cause),
        _labelled("Consequence", definition.consequence),
        _labelled("What would change the picture", definition.confirm),
        _acknowledge(it, scene),
    ]


def _of_steps(steps: Steps, advice: str = "") -> list[str]:
    """What comes first, what then, what must not be done; `advice`: the dose for this tank, instead
    of what is said of any. The advice to ask a vet stands under every text and is left out here."""
    usual = (steps.dose,) if steps.dose and not advice else ()
    return [
        _labelled("Do first", steps.first),
        _labelled("Dose for this tank", advice),
        _labelled("Then", "; ".join((*usual, *steps.then))),
        _labelled("Do not", steps.never()),
    ]


def _acknowledge(it: Episode, scene: Scene) -> str:
    """How to say so: by the page, where there is one (its button, since a mail server follows
    links by itself), and by the command."""
    by_page = ""
    if scene.page_url is not None:
        by_page = f"{scene.page_url}/tank/{quote(it.tank, safe='')}/alarm/{it.alarm} or "
    command = f"`afterfill alarm acknowledge {it.alarm} --tank {it.tank}`"
    return f"When you are on it: {by_page}{command}."


def _count(it: Episode, again: bool) -> str:
    if again:
        return "; not acknowledged yet."
    return f"; raised {it.times} times." if it.times > 1 else "."


def _news(it: Episode, scene: Scene) -> str:
    now = scene.estimates.get(it.tank)
    if now is None or now.time_s < it.raised_s + _NEWS_AFTER_S:
        return ""
    if it.alarm.startswith("free-ammonia"):
        if now.free_ammonia_mg_l is None:
            return ""
        return f"At {scene.moment(now.time_s)}: {_figures(now.free_ammonia_mg_l)} as N."
    unseen = "" if now.sees else f"; the ORP cannot be used: {now.why_blind}"
    return (
        f"At {scene.moment(now.time_s)}: {_figures(now.residual_mg_l)}; over the limit with "
        f"probability {now.p_over_limit:.2f}{unseen}."
    )


def _figures(spread: Quantiles) -> str:
    return f"{spread.q50:.2g} mg/L (90 % interval {spread.q05:.2g} to {spread.q95:.2g})"


def _of_ended(it: Episode, scene: Scene, *, told: bool) -> list[str]:
    ended_s = it.raised_s if it.ended_s is None else it.ended_s
    count = "" if told else _count(it, again=False).rstrip(".")
    return [
        f"Tank {it.tank}: over: {title_of(it.alarm)}.",
        f"Alarm {it.alarm}, priority {it.priority}, {it.state}{count}.",
        f"From {scene.moment(it.raised_s)} to {scene.moment(ended_s)} "
        f"({span(ended_s - it.raised_s)}).",
        f"Then: {it.message}.",
        _labelled("Now", it.end_message),
        _acknowledge(it, scene) if it.state == "unacknowledged" else "",
    ]


def _of_verdict(verdict: Verdict, scene: Scene) -> list[str]:
    over = verdict.verdict == "carried-over"
    return [
        f"Tank {verdict.tank}: the refill of {scene.moment(verdict.refill_time_s)} is "
        f"{verdict.verdict} (final).",
        f"How sure: over the limit with probability {verdict.probability:.2f}; highest residual "
        f"{_figures(verdict.peak_residual_mg_l)}.",
        "What follows was due then; whether it still is: `afterfill now`."
        if over
        else "This is no all-clear.",
        *(_of_steps(RESIDUAL_OXIDANT.steps, _DOSE_BY_NOW) if over else _of_steps(_DOUBTFUL)),
        _labelled("What would change the picture", CHLORINE_TEST),
    ]


def _labelled(label: str, text: str) -> str:
    return f"{label}: {text.rstrip('.')}." if text else ""


def span(seconds: float) -> str:
    """``less than a minute``, ``12 min``, ``3.5 h``, ``2.0 days``."""
    return "less than a minute" if seconds < 60.0 else span_words(seconds)
