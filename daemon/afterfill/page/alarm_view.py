"""One alarm: what it says, why it exists, and the answers that a person may give."""

from collections.abc import Callable, Iterator

from afterfill.alarms.definitions import DEFINITIONS
from afterfill.cli.alarm.states import STATES
from afterfill.cli.latest import alarms
from afterfill.cli.times import moment, present_s
from afterfill.config import Config
from afterfill.journal.store import Journal
from afterfill.page.layout import button, form, path_of, sentence, with_links
from afterfill.records import AlarmChange
from afterfill.report.markup import Html, joined, tag
from afterfill.sinks.notify.text import title_of
from afterfill.tank_table import tank_table

_SHELVES = ((60, "1 hour"), (480, "8 hours"), (1440, "1 day"))


def alarm_html(journal: Journal, config: Config, tank: str, name: str, ticket: str) -> Html:
    """The alarm as it stands. Raises JournalError."""
    change = alarms(journal, tank, [name]).get(name)
    return joined(
        tag("h1", f"{tank}: {title_of(name)}"),
        *_state(change, tank_table(config, tank).shown.text),
        *_answers(tank, name, change, ticket),
        *_reasons(tank, name, change),
    )


def _state(change: AlarmChange | None, said: Callable[[str], str]) -> Iterator[Html]:
    if change is None or change.state == "normal":
        yield tag("p", "It does not hold now: there is nothing to answer.")
        return
    since = moment(change.time_s, present_s())
    yield tag("p", f"{sentence(STATES[change.state])} Since {since}; {change.priority} priority.")
    yield tag("p", sentence(said(change.message)))
    if change.advice:
        yield tag("p", tag("strong", "Dose for this tank: "), sentence(said(change.advice)))


def _answers(tank: str, name: str, change: AlarmChange | None, ticket: str) -> Iterator[Html]:
    state = "normal" if change is None else change.state

    def answer(action: str, words: str, *, minutes: int = 0, quiet: bool = True) -> Html:
        more = {"name": "minutes", "value": str(minutes)} if minutes else {}
        send = button(words, class_="quiet" if quiet else None, **more)
        return form(path_of(tank, f"/alarm/{name}/{action}"), send,
                    ticket=f"{ticket}.{action}{minutes or ''}")  # fmt: skip

    if state in ("unacknowledged", "returned-to-normal-unacknowledged"):
        words = "I am on it" if state == "unacknowledged" else "I have seen it"
        yield answer("acknowledge", f"{words} (acknowledge)", quiet=False)
    if state in ("unacknowledged", "acknowledged"):
        yield tag("h2", "Put it aside")
        yield tag("p", "It asks again by itself when it still holds then.", class_="soft")
        put = [answer("shelve", words, minutes=minutes) for minutes, words in _SHELVES]
        yield tag("div", *put, class_="grid-of")
    if state == "shelved":
        yield answer("unshelve", "Take it back now")
    if state == "out-of-service":
        yield answer("return-to-service", "Bring it back into service")


def _reasons(tank: str, name: str, change: AlarmChange | None) -> Iterator[Html]:
    it = DEFINITIONS[name]
    dosed = change is None or not change.advice
    rows = (
        ("What to do", it.steps.sentence(dosed=dosed)), ("Time to act", it.time_to_respond),
        ("Cause", it.cause), ("What happens else", it.consequence),
        ("What would change the picture", it.confirm),
    )  # fmt: skip
    shown = [(term, with_links(tank, sentence(words))) for term, words in rows if words]
    pairs = [part for term, words in shown for part in (tag("dt", term), tag("dd", words))]
    yield tag("h2", "About this alarm")
    yield tag("dl", *pairs)
