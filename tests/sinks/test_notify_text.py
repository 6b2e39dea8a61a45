"""What a person reads: the text itself, and what must be in it whatever the alarm."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from afterfill.alarms.definitions import DEFINITIONS
from afterfill.records import Estimate, Quantiles, Verdict, VerdictWord
from afterfill.sinks.notify.rules import RANK, Due, Notice, What
from afterfill.sinks.notify.state import Episode
from afterfill.sinks.notify.text import (
    CAUTION,
    LONGEST_SUBJECT,
    SHORT_CAUTION,
    Scene,
    span,
    subject_of,
    text_of,
)

RAISED_S = datetime(2026, 3, 1, 13, 5, tzinfo=UTC).timestamp()
ZONE = timezone(timedelta(hours=1))
FIGURES = "residual oxidant 0.31 mg/L (90 % interval 0.2 to 0.5), limit 0.019; over it with"
OXIDANT = Episode(
    "window",
    "residual-oxidant",
    "high",
    "unacknowledged",
    f"{FIGURES} probability 0.97",
    RAISED_S,
    0.0,
    owed=True,
)
SPREAD = Quantiles(0.05, 0.11, 0.2)


def scene(minutes: float = 12.0, *estimates: Estimate) -> Scene:
    return Scene(
        RAISED_S + 60.0 * minutes,
        lambda time_s: datetime.fromtimestamp(time_s, ZONE),
        {e.tank: e for e in estimates},
    )


def estimate(minutes: float, *, sees: bool = True) -> Estimate:
    return Estimate(
        RAISED_S + 60 * minutes, "window", SPREAD, SPREAD, SPREAD, SPREAD, None, 0.91, 0.06, sees,
        None if sees else "the probe is out of the water",
    )  # fmt: skip


def one(about: Episode | Verdict, what: What = "raised") -> Due:
    priority = about.priority if isinstance(about, Episode) else "medium"
    return Due((Notice(what, priority, about),))


def verdict(word: VerdictWord) -> Verdict:
    return Verdict(RAISED_S, "window", RAISED_S - 3600, word, 0.97, SPREAD, True)


def test_an_alarm_is_told_in_the_order_in_which_it_is_needed() -> None:
    lines = text_of(one(OXIDANT), scene()).splitlines()
    beginnings = [
        "Tank window: disinfectant in the water.",
        "Alarm residual-oxidant, priority high, unacknowledged.",
        "",
        "Time to act: minutes.",
        "Do first: stop the refill.",
        "Then: dose neutraliser for the whole tank's water, as its label says; run strong",
        "Do not: add raw water, and do not mix chemicals.",
        "",
        f"How sure: {FIGURES} probability 0.97.",
        "Since: 14:05, for 12 min.",
        "Cause: disinfectant of the source water is in the tank",
        "Consequence: gill damage",
        "What would change the picture: a DPD total-chlorine test of the tank.",
        "When you are on it: `afterfill alarm acknowledge residual-oxidant --tank window`.",
        "",
        "Fish that gasp, dart or lie on the bottom need help now, whatever this says.",
    ]
    assert len(lines) == len(beginnings)
    for line, beginning in zip(lines, beginnings, strict=True):
        assert line.startswith(beginning) if beginning else line == "", line
    assert "ask one" in lines[-1]
    assert "not a drinking-water instrument" in lines[-1]


def test_the_dose_for_this_tank_stands_where_it_is_needed_and_alone() -> None:
    told = replace(OXIDANT, advice="put 2.8 mL of n (thiosulfate) into the whole tank's 100 L")
    lines = text_of(one(told), scene()).splitlines()
    first = lines.index("Do first: stop the refill.")
    dose = "Dose for this tank: put 2.8 mL of n (thiosulfate) into the whole tank's 100 L."
    assert lines[first + 1] == dose
    assert lines[first + 2].startswith("Then: run strong aeration; confirm with")
    assert "as its label says" not in "\n".join(lines)


def test_each_command_in_a_text_names_the_tank_it_is_for() -> None:
    dose = "put 2 mL. Then tell it: `afterfill log dose --neutraliser-ml 2 --tank window`"
    text = text_of(one(replace(OXIDANT, advice=dose)), scene())
    assert "`afterfill log kit --total-chlorine VALUE --tank window`" in text
    assert "`afterfill log dose --neutraliser-ml 2 --tank window`" in text


def test_a_reminder_says_how_it_is_by_now() -> None:
    text = text_of(one(OXIDANT, "still"), scene(62, estimate(60)))
    assert "unacknowledged; not acknowledged yet." in text
    assert "Since: 14:05, for 62 min." in text
    assert (
        "At 15:05: 0.11 mg/L (90 % interval 0.05 to 0.2); over the limit with probability 0.91."
    ) in text


def test_what_the_probe_cannot_see_by_now_is_said() -> None:
    text = text_of(one(OXIDANT, "still"), scene(62, estimate(60, sees=False)))
    assert "the ORP cannot be used: the probe is out of the water." in text


def test_an_estimate_of_the_same_moment_is_no_news() -> None:
    assert "At 14" not in text_of(one(OXIDANT), scene(2, estimate(1)))


def test_a_day_that_is_not_today_has_its_date() -> None:
    assert "Since: 14:05 on 2026-03-01, for 20.0 h." in text_of(one(OXIDANT), scene(20 * 60))


def test_the_end_of_an_alarm_says_how_long_it_was_and_how_it_is_now() -> None:
    ended = replace(
        OXIDANT, state="normal", ended_s=RAISED_S + 3900, end_message="residual oxidant 0.004 mg/L"
    )
    text = text_of(one(ended, "over"), scene(70))
    assert text.startswith(
        "Tank window: over: disinfectant in the water.\n"
        "Alarm residual-oxidant, priority high, normal.\n"
        "From 14:05 to 15:10 (65 min).\n"
        f"Then: {FIGURES} probability 0.97.\n"
        "Now: residual oxidant 0.004 mg/L.\n"
    )
    assert "Do first" not in text
    assert "acknowledge" not in text


def test_an_end_that_was_not_acknowledged_says_how_to() -> None:
    ended = replace(OXIDANT, ended_s=RAISED_S + 60, times=3)
    text = text_of(one(ended, "raised-and-over"), scene())
    assert "unacknowledged; raised 3 times." in text
    assert "`afterfill alarm acknowledge residual-oxidant --tank window`" in text


def test_verdicts() -> None:
    over = text_of(one(verdict("carried-over"), "verdict"), scene())
    assert over.startswith("Tank window: the refill of 13:05 is carried-over (final).\n")
    assert "How sure: over the limit with probability 0.97; highest residual 0.11 mg/L" in over
    assert "Do first: stop the refill." in over
    unsure = text_of(one(verdict("cannot-tell"), "verdict"), scene())
    assert "Do first: treat the water as doubtful." in unsure
    assert "This is no all-clear" in unsure


@pytest.mark.parametrize(
    ("due", "subject"),
    [
        (one(OXIDANT), "HIGH window: disinfectant in the water"),
        (one(OXIDANT, "still"), "STILL HIGH window: disinfectant in the water"),
        (one(OXIDANT, "over"), "Over, window: disinfectant in the water"),
        (one(verdict("carried-over"), "verdict"), "window: a refill carried over"),
        (one(verdict("cannot-tell"), "verdict"), "window: no verdict"),
        (
            Due((*one(OXIDANT).notices, *one(verdict("clear"), "verdict").notices)),
            "HIGH window: disinfectant in the water, and 1 more",
        ),
        (
            Due(one(OXIDANT).notices, digest=True, skipped=2),
            "After quiet hours: 3 from tank window",
        ),
        (
            one(replace(OXIDANT, tank="the-very-long-tank-behind-the-sofa", alarm="refill-shock")),
            "HIGH the-very-long-tank-behind-the-sofa: the refill's water…",
        ),
    ],
)
def test_subjects(due: Due, subject: str) -> None:
    assert subject_of(due) == subject


@pytest.mark.parametrize(
    ("alarm", "what", "caution"),
    [
        ("residual-oxidant", "raised", CAUTION), ("residual-oxidant", "over", SHORT_CAUTION),
        ("free-ammonia", "still", CAUTION), ("storage-low", "raised", SHORT_CAUTION),
        ("probe-lost", "raised", SHORT_CAUTION),
    ],
)  # fmt: skip
def test_a_vet_stands_under_what_threatens_fish(alarm: str, what: What, caution: str) -> None:
    text = text_of(Due((Notice(what, "high", replace(OXIDANT, alarm=alarm)),)), scene())
    assert text.endswith(f"{caution}\n")


def test_several_things_and_a_digest_say_so() -> None:
    both = Due((*one(OXIDANT).notices, *one(verdict("cannot-tell"), "verdict").notices))
    assert text_of(both, scene()).startswith("2 things in one message.\n\nTank window: ")
    late = text_of(replace(both, digest=True, skipped=4), scene())
    assert late.startswith("This waited for the end of your quiet hours.\n\nTank window: ")
    assert "And 4 older final verdicts that were no all-clear." in late
    assert late.count(CAUTION) == 1


@pytest.mark.parametrize("alarm", sorted(DEFINITIONS))
def test_every_alarm_says_what_to_do_first(alarm: str) -> None:
    text = text_of(one(replace(OXIDANT, alarm=alarm)), scene()).replace(" --tank window`", "`")
    definition = DEFINITIONS[alarm]
    steps = definition.steps
    assert f"\nDo first: {steps.first}.\n" in text
    assert ("\nThen: " in text) == bool(steps.then or steps.dose)
    assert all(step in text for step in (*steps.then, *steps.do_not))
    assert f"Time to act: {definition.time_to_respond}." in text
    assert text.startswith(f"Tank window: {definition.title}.\n")


def test_an_alarm_that_is_not_known_here_is_told_all_the_same() -> None:
    text = text_of(one(replace(OXIDANT, alarm="something-new", message="it is so")), scene())
    assert text.startswith("Tank window: something new.\n")
    assert "Seen: it is so." in text
    assert "Do first" not in text


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0.0, "less than a minute"),
        (61.0, "1 min"),
        (7199.0, "120 min"),
        (7200.0, "2.0 h"),
        (172_800.0, "2.0 days"),
    ],
)
def test_spans_are_in_their_natural_unit(seconds: float, words: str) -> None:
    assert span(seconds) == words


WHATS: tuple[What, ...] = ("raised", "still", "over", "raised-and-over")


@given(
    st.lists(
        st.tuples(
            st.sampled_from(WHATS),
            st.sampled_from([*DEFINITIONS, "something-new"]),
            st.text(st.characters(categories=("L", "Nd")), min_size=1, max_size=80),
            st.sampled_from(sorted(RANK)),
        ),
        min_size=1,
        max_size=30,
    ),
    st.booleans(),
    st.integers(0, 1000),
)
def test_a_subject_is_one_short_line_and_each_thing_has_its_section(
    things: list[tuple[What, str, str, str]], digest: bool, skipped: int
) -> None:
    episodes = [replace(OXIDANT, alarm=alarm, tank=tank) for _, alarm, tank, _ in things]
    notices = tuple(
        Notice(what, "high", episode) for (what, *_), episode in zip(things, episodes, strict=True)
    )
    due = Due(notices, digest, skipped)
    subject, text = subject_of(due), text_of(due, scene())
    assert 0 < len(subject) <= LONGEST_SUBJECT
    assert len(subject.splitlines()) == 1
    assert text.count("\nAlarm ") == len(things)
    assert all(f"Tank {episode.tank}: " in text for episode in episodes)
    assert text.count(CAUTION) + text.count(SHORT_CAUTION) == 1


def test_a_carry_over_asks_for_the_dose_by_now_and_for_no_sum_at_night() -> None:
    text = text_of(one(verdict("carried-over")), scene())
    assert "`afterfill plan --rescue --tank window`" in text
    assert "as its label says" not in text


def test_an_alarm_can_be_answered_by_a_link_to_the_page() -> None:
    there = replace(scene(), page_url="http://tank.example:8420")
    answer = "`afterfill alarm acknowledge residual-oxidant --tank window`"
    link = "http://tank.example:8420/tank/window/alarm/residual-oxidant"
    assert f"When you are on it: {link} or {answer}." in text_of(one(OXIDANT), there)
    assert f"When you are on it: {answer}." in text_of(one(OXIDANT), scene())
    odd = replace(OXIDANT, tank="größer")
    assert "/tank/gr%C3%B6%C3%9Fer/alarm/" in text_of(one(odd), there)
