"""Who is told what, and when: stories one by one, and laws over arbitrary stories."""

from dataclasses import dataclass, field, replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from afterfill.records import AlarmChange, AlarmState, Priority, Quantiles, Stamp, Verdict
from afterfill.sinks.notify_rules import (
    KEPT_VERDICTS,
    RANK,
    TOGETHER,
    Due,
    Notice,
    Terms,
    after,
    due,
    newcomer,
)
from afterfill.sinks.notify_state import Episode, State, at, from_text, to_text

BEGIN_S = 1_772_350_200.0
MINUTE_S, HOUR_S = 60.0, 3600.0
PRIORITY_OF: dict[str, Priority] = {
    "residual-oxidant": "high",
    "probe-lost": "medium",
    "calibration-due": "low",
}
UNSPARING = Terms("low", repeat_s=0.0, per_hour=120.0)


def stamp(seconds: float, boot: str = "boot") -> Stamp:
    return Stamp(BEGIN_S + seconds, True, boot, 100.0 + seconds)


def change(
    alarm: str, state: AlarmState, *, active: bool | None = None, second: float = 0.0
) -> AlarmChange:
    holds = state in ("unacknowledged", "acknowledged") if active is None else active
    return AlarmChange(
        BEGIN_S + second, "window", alarm, state, PRIORITY_OF[alarm], holds, f"{alarm} {state}"
    )


@dataclass
class Story:
    """One recipient's story: records and the passing of time; a message is told at once, unless
    the service `refuses`."""

    terms: Terms
    state: State = field(default_factory=lambda: newcomer(0, stamp(0.0)))
    now_s: float = 0.0
    minute_of_day: int = 12 * 60
    refuses: bool = False
    told: list[tuple[float, Due]] = field(default_factory=list)

    def happen(self, alarm: str, state: AlarmState, *, active: bool | None = None) -> None:
        self.record(change(alarm, state, active=active, second=self.now_s))

    def record(self, record: AlarmChange | Verdict) -> None:
        seq = self.state.seq + 1
        self.state = after(self.terms, self.state, seq, stamp(self.now_s), record)

    def look(self) -> Due:
        minute = (self.minute_of_day + int(self.now_s // 60)) % 1440
        state, what = due(self.terms, self.state, stamp(self.now_s), minute)
        if what.notices and self.refuses:
            return Due()
        self.state = state
        if what.notices:
            self.told.append((self.now_s, what))
        return what

    def wait(self, seconds: float, step_s: float = 30.0) -> None:
        until_s = self.now_s + seconds
        while self.now_s < until_s:
            self.now_s = min(self.now_s + step_s, until_s)
            self.look()

    def lines(self) -> list[tuple[float, str, str]]:
        """When, what, and about which alarm or verdict."""
        return [(when, n.what, _about(n)) for when, what in self.told for n in what.notices]


def _about(notice: Notice) -> str:
    about = notice.about
    return about.alarm if isinstance(about, Episode) else about.verdict


def verdict(word: str, *, final: bool = True) -> Verdict:
    return Verdict(BEGIN_S, "window", BEGIN_S - 60, word, 0.5, Quantiles(0, 0.1, 0.2), final)  # type: ignore[arg-type]  # a word of a table


def test_an_alarm_is_told_once_and_its_return_once() -> None:
    story = Story(Terms("low"))
    story.happen("probe-lost", "unacknowledged")
    story.wait(10 * MINUTE_S)
    story.happen("probe-lost", "returned-to-normal-unacknowledged")
    story.wait(10 * MINUTE_S)
    story.happen("probe-lost", "normal")
    story.wait(HOUR_S)
    assert [line[1:] for line in story.lines()] == [
        ("raised", "probe-lost"),
        ("over", "probe-lost"),
    ]


def test_below_at_least_nothing_is_told() -> None:
    story = Story(Terms("high"))
    story.happen("probe-lost", "unacknowledged")
    story.wait(HOUR_S)
    story.happen("probe-lost", "normal")
    story.wait(HOUR_S)
    assert story.told == []
    assert story.state.episodes == ()


def test_an_alarm_that_went_while_the_service_refused_is_told_all_the_same() -> None:
    story = Story(Terms("low"), refuses=True)
    story.happen("probe-lost", "unacknowledged")
    story.wait(HOUR_S)
    story.happen("probe-lost", "normal")
    story.wait(HOUR_S)
    assert story.told == []
    story.refuses = False
    story.wait(MINUTE_S)
    ((_, what),) = story.told
    (notice,) = what.notices
    assert notice.what == "raised-and-over"
    assert isinstance(notice.about, Episode)
    assert (notice.about.message, notice.about.end_message) == (
        "probe-lost unacknowledged",
        "probe-lost normal",
    )


def test_raisings_that_could_not_be_told_are_counted_in_one_notice() -> None:
    story = Story(Terms("low"), refuses=True)
    for _ in range(3):
        story.happen("probe-lost", "unacknowledged")
        story.wait(MINUTE_S)
        story.happen("probe-lost", "returned-to-normal-unacknowledged")
        story.wait(MINUTE_S)
    story.refuses = False
    story.look()
    ((_, what),) = story.told
    (notice,) = what.notices
    assert isinstance(notice.about, Episode)
    assert (notice.about.times, notice.about.raised_s) == (3, BEGIN_S)


def test_raised_again_after_acknowledgement_it_is_told_again() -> None:
    story = Story(Terms("low", repeat_s=0.0))
    states: tuple[AlarmState, ...] = ("unacknowledged", "acknowledged", "normal", "unacknowledged")
    for state in states:
        story.happen("residual-oxidant", state)
        story.wait(HOUR_S)
    assert [line[1] for line in story.lines()] == ["raised", "over", "raised"]


def test_a_shelf_that_ends_while_the_alarm_holds_asks_again() -> None:
    story = Story(Terms("low", repeat_s=0.0))
    story.happen("residual-oxidant", "unacknowledged")
    story.wait(MINUTE_S)
    story.happen("residual-oxidant", "shelved", active=True)
    story.wait(HOUR_S)
    story.happen("residual-oxidant", "unacknowledged")
    story.wait(MINUTE_S)
    assert [line[1] for line in story.lines()] == ["raised", "raised"]


def test_a_message_that_changes_while_the_alarm_holds_is_no_news() -> None:
    story = Story(Terms("low", repeat_s=0.0))
    story.happen("residual-oxidant", "unacknowledged")
    story.wait(MINUTE_S)
    story.happen("residual-oxidant", "unacknowledged")
    story.wait(HOUR_S)
    assert len(story.told) == 1


# --- reminders and escalation ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ends", "active"),
    [
        ("acknowledged", True),
        ("shelved", True),
        ("out-of-service", True),
        ("returned-to-normal-unacknowledged", False),
    ],
)
def test_high_is_repeated_until_somebody_answers_or_it_is_over(
    ends: AlarmState, active: bool
) -> None:
    story = Story(Terms(repeat_s=15 * MINUTE_S))
    story.happen("residual-oxidant", "unacknowledged")
    story.wait(46 * MINUTE_S)
    assert [(round(t), what) for t, what, _ in story.lines()] == [
        (30, "raised"), (930, "still"), (1830, "still"), (2730, "still"),
    ]  # fmt: skip
    story.happen("residual-oxidant", ends, active=active)
    story.wait(2 * HOUR_S)
    assert [what for _, what, _ in story.lines()[4:]] == ([] if active else ["over"])


def test_medium_is_not_repeated() -> None:
    story = Story(Terms(repeat_s=15 * MINUTE_S))
    story.happen("probe-lost", "unacknowledged")
    story.wait(5 * HOUR_S)
    assert len(story.told) == 1


@pytest.mark.parametrize("answer", ["acknowledged", "shelved", "normal"])
def test_the_second_one_is_told_only_when_nobody_answers_in_time(answer: AlarmState) -> None:
    story = Story(Terms(after_s=30 * MINUTE_S, repeat_s=0.0))
    story.happen("residual-oxidant", "unacknowledged")
    story.wait(29 * MINUTE_S)
    story.happen("residual-oxidant", answer, active=answer != "normal")
    story.wait(3 * HOUR_S)
    assert story.told == []
    story.happen("residual-oxidant", "normal")
    story.happen("residual-oxidant", "unacknowledged")
    story.wait(29.5 * MINUTE_S)
    assert story.told == []
    story.wait(MINUTE_S)
    assert [line[1] for line in story.lines()] == ["raised"]
    story.happen("residual-oxidant", "normal")
    story.wait(MINUTE_S)
    assert [line[1] for line in story.lines()] == ["raised", "over"]


def test_whoever_looks_late_still_knows_that_the_time_had_come_before_the_answer() -> None:
    story = Story(Terms(after_s=30 * MINUTE_S))
    story.happen("residual-oxidant", "unacknowledged")
    story.now_s = 31 * MINUTE_S
    story.happen("residual-oxidant", "acknowledged")
    story.look()
    assert [line[1] for line in story.lines()] == ["raised"]


def test_a_latched_alarm_that_nobody_looked_at_is_escalated_although_it_is_over() -> None:
    story = Story(Terms(after_s=30 * MINUTE_S))
    story.happen("residual-oxidant", "unacknowledged")
    story.wait(10 * MINUTE_S)
    story.happen("residual-oxidant", "unacknowledged", active=False)
    story.wait(HOUR_S)
    assert [line[1] for line in story.lines()] == ["raised-and-over"]


def test_the_end_of_a_latched_alarm_is_told_and_its_release_is_not() -> None:
    story = Story(Terms(repeat_s=15 * MINUTE_S))
    story.happen("residual-oxidant", "unacknowledged")
    story.wait(MINUTE_S)
    story.happen("residual-oxidant", "unacknowledged", active=False)
    story.wait(2 * HOUR_S)
    story.happen("residual-oxidant", "unacknowledged", active=False)
    story.wait(HOUR_S)
    story.happen("residual-oxidant", "normal")
    story.wait(HOUR_S)
    assert [line[1] for line in story.lines()] == ["raised", "over"]


# --- quiet hours -------------------------------------------------------------------------------

NIGHT = (22 * 60, 7 * 60)


def test_low_waits_for_the_end_of_quiet_hours_and_comes_as_one_digest() -> None:
    story = Story(Terms("low", quiet=NIGHT), minute_of_day=23 * 60)
    story.happen("calibration-due", "unacknowledged")
    story.wait(HOUR_S)
    story.happen("calibration-due", "normal")
    story.record(verdict("carried-over"))
    story.wait(2 * HOUR_S)
    assert story.told == []
    story.wait(5 * HOUR_S + 59 * MINUTE_S)  # verdicts are asked for by `verdicts`
    ((when, what),) = story.told
    assert when == 8 * HOUR_S
    assert what.digest
    assert [n.what for n in what.notices] == ["raised-and-over"]


def test_high_and_medium_do_not_wait_unless_medium_is_asked_to() -> None:
    for up_to, expected in (("low", 2), ("medium", 1)):
        terms = Terms("low", quiet=NIGHT, quiet_up_to=up_to, repeat_s=0.0)  # type: ignore[arg-type]  # of a table
        story = Story(terms, minute_of_day=2 * 60)
        story.happen("residual-oxidant", "unacknowledged")
        story.wait(MINUTE_S)
        story.happen("probe-lost", "unacknowledged")
        story.wait(MINUTE_S)
        assert len(story.told) == expected
        assert not any(what.digest for _, what in story.told)


@pytest.mark.parametrize(
    ("quiet", "minute", "held"),
    [
        (NIGHT, 22 * 60 - 1, False),
        (NIGHT, 22 * 60, True),
        (NIGHT, 0, True),
        (NIGHT, 7 * 60 - 1, True),
        (NIGHT, 7 * 60, False),
        ((60, 120), 59, False),
        ((60, 120), 60, True),
        ((60, 120), 120, False),
        (None, 0, False),
    ],
)
def test_quiet_hours_begin_and_end_on_the_minute(
    quiet: tuple[int, int] | None, minute: int, held: bool
) -> None:
    story = Story(Terms("low", quiet=quiet), minute_of_day=minute)
    story.happen("calibration-due", "unacknowledged")
    assert (story.look() == Due()) == held


# --- the rate ----------------------------------------------------------------------------------


def test_beyond_the_rate_notices_are_joined_and_none_is_dropped() -> None:
    story = Story(Terms("low", repeat_s=0.0, per_hour=2.0))
    for number in range(40):
        story.record(replace(change("probe-lost", "unacknowledged"), tank=f"tank-{number}"))
        story.wait(MINUTE_S)
    story.wait(HOUR_S)
    tanks = [n.about.tank for _, what in story.told for n in what.notices]
    assert sorted(tanks) == sorted(f"tank-{number}" for number in range(40))
    assert len(story.told) <= TOGETHER + 2


def test_the_last_message_is_kept_for_a_new_high_alarm() -> None:
    story = Story(Terms("low", repeat_s=0.0, per_hour=1.0))
    for number in range(9):
        story.record(replace(change("probe-lost", "unacknowledged"), tank=f"tank-{number}"))
        story.wait(MINUTE_S)
    assert len(story.told) == TOGETHER - 1
    story.happen("residual-oxidant", "unacknowledged")
    what = story.look()
    assert [n.priority for n in what.notices][:1] == ["high"]
    assert len(what.notices) > 1, "what waited goes with it"


# --- verdicts ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("word", "final", "told"),
    [
        ("carried-over", True, 1),
        ("cannot-tell", True, 1),
        ("carried-over", False, 0),
        ("clear", True, 0),
        ("possible", True, 0),
    ],
)
def test_final_verdicts_that_are_no_all_clear_are_told_when_asked(
    word: str, final: bool, told: int
) -> None:
    for asked in (True, False):
        story = Story(Terms(verdicts=asked))
        story.record(verdict(word, final=final))
        story.wait(HOUR_S)
        assert len(story.told) == (told if asked else 0)


def test_verdicts_beyond_what_is_kept_are_counted() -> None:
    story = Story(Terms(verdicts=True), refuses=True)
    for number in range(KEPT_VERDICTS + 7):
        story.record(replace(verdict("carried-over"), time_s=BEGIN_S + number))
    story.refuses = False
    what = story.look()
    assert (len(what.notices), what.skipped) == (KEPT_VERDICTS, 7)
    story.record(verdict("carried-over"))
    assert story.look().skipped == 0


# --- time --------------------------------------------------------------------------------------


def test_within_a_boot_only_the_monotonic_clock_counts() -> None:
    state = newcomer(0, stamp(0.0))
    leapt = Stamp(BEGIN_S + 30 * 365 * 86400, True, "boot", 160.0)
    back = Stamp(BEGIN_S - 3600, True, "boot", 220.0)
    assert at(state, leapt).run_s == 60.0
    assert at(at(state, leapt), back).run_s == 120.0
    assert at(at(state, back), stamp(60.0)).run_s == 120.0, "an older stamp moves nothing"


def test_between_two_boots_the_wall_clock_counts_for_a_day_at_most() -> None:
    state = newcomer(0, stamp(1000.0))
    for seconds, passed_s in ((1600.0, 600.0), (1e9, 86400.0), (0.0, 0.0)):
        other = replace(stamp(seconds, "another"), monotonic_s=5.0)
        assert at(state, other).run_s == passed_s
        assert at(state, other).stamp == other


def test_a_state_of_another_version_is_not_guessed_at() -> None:
    assert from_text('{"seq": 1}') is None
    assert from_text("not JSON") is None


# --- laws over arbitrary stories ---------------------------------------------------------------

ALARMS = st.sampled_from(sorted(PRIORITY_OF))
STEPS = st.lists(
    st.one_of(
        st.tuples(st.just("raise"), ALARMS),
        st.tuples(st.just("return"), ALARMS),
        st.tuples(st.just("answer"), ALARMS),
        st.tuples(st.just("wait"), st.sampled_from([1.0, 20.0, 300.0, 1200.0, 7200.0])),
        st.tuples(st.just("refuse"), st.booleans()),
        st.tuples(st.just("restart"), st.booleans()),
    ),
    max_size=40,
)
TERMS = st.builds(
    Terms,
    at_least=st.sampled_from(sorted(RANK)),
    after_s=st.sampled_from([0.0, 600.0]),
    repeat_s=st.sampled_from([0.0, 900.0]),
    quiet=st.sampled_from([None, NIGHT, (60, 120)]),
    quiet_up_to=st.sampled_from(["low", "medium"]),
    per_hour=st.sampled_from([1.0, 12.0, 120.0]),
)


class Tank:
    """What the alarms really are, beside the story."""

    def __init__(self, story: Story) -> None:
        self.story = story
        self.states: dict[str, AlarmState] = dict.fromkeys(PRIORITY_OF, "normal")
        self.raised: dict[str, int] = dict.fromkeys(PRIORITY_OF, 0)

    def do(self, verb: str, object_: object) -> None:
        match verb, object_:
            case "raise", str(alarm) if self.states[alarm] in (
                "normal",
                "returned-to-normal-unacknowledged",
            ):
                self.raised[alarm] += 1
                self._to(alarm, "unacknowledged")
            case "return", str(alarm) if self.states[alarm] == "unacknowledged":
                self._to(alarm, "returned-to-normal-unacknowledged")
            case "return", str(alarm) if self.states[alarm] == "acknowledged":
                self._to(alarm, "normal")
            case "answer", str(alarm) if self.states[alarm] == "unacknowledged":
                self._to(alarm, "acknowledged")
            case "wait", float(seconds):
                self.story.wait(seconds, step_s=min(seconds, 60.0))
            case "refuse", bool(refuses):
                self.story.refuses = refuses
            case "restart", bool():
                again = from_text(to_text(self.story.state))
                assert again == self.story.state
                self.story.state = again

    def _to(self, alarm: str, state: AlarmState) -> None:
        self.states[alarm] = state
        self.story.happen(alarm, state)


def played(terms: Terms, steps: list[tuple[str, object]]) -> Tank:
    """The story, and a quiet day with a service that answers after it."""
    tank = Tank(Story(terms))
    for verb, object_ in steps:
        tank.do(verb, object_)
    tank.story.refuses = False
    tank.story.wait(26 * HOUR_S, step_s=600.0)
    return tank


@given(TERMS, STEPS)
def test_what_was_raised_and_is_wanted_at_once_is_told_sooner_or_later(
    terms: Terms, steps: list[tuple[str, object]]
) -> None:
    tank = played(replace(terms, after_s=0.0), steps)
    told = dict.fromkeys(PRIORITY_OF, 0)
    for _, what in tank.story.told:
        for notice in what.notices:
            if notice.what.startswith("raised") and isinstance(notice.about, Episode):
                told[notice.about.alarm] += notice.about.times
    wanted = {
        alarm: count if RANK[PRIORITY_OF[alarm]] >= RANK[terms.at_least] else 0
        for alarm, count in tank.raised.items()
    }
    assert told == wanted, "each raising is told once: none lost, none doubled"


@given(TERMS, STEPS)
def test_no_hour_holds_more_messages_than_the_rate_allows(
    terms: Terms, steps: list[tuple[str, object]]
) -> None:
    times = [when for when, _ in played(terms, steps).story.told]
    for number, begin_s in enumerate(times):
        within = [t for t in times[number:] if t <= begin_s + HOUR_S]
        assert len(within) <= TOGETHER + terms.per_hour


@given(TERMS, STEPS)
def test_nothing_that_must_wait_is_told_in_quiet_hours(
    terms: Terms, steps: list[tuple[str, object]]
) -> None:
    story = played(replace(terms, quiet=NIGHT), steps).story
    for when, what in story.told:
        minute = (story.minute_of_day + int(when // 60)) % 1440
        if minute >= NIGHT[0] or minute < NIGHT[1]:
            assert all(RANK[n.priority] > RANK[terms.quiet_up_to] for n in what.notices)


@given(TERMS, STEPS)
def test_a_new_high_alarm_waits_for_one_message_of_the_rate_at_most(
    terms: Terms, steps: list[tuple[str, object]]
) -> None:
    story = played(replace(terms, after_s=0.0), [s for s in steps if s[0] != "refuse"]).story
    for when, what in story.told:
        for notice in what.notices:
            if notice.what == "raised" and notice.priority == "high":
                waited_s = when - notice.about.raised_run_s  # type: ignore[union-attr]  # an alarm
                assert waited_s <= HOUR_S / terms.per_hour + 600.0 + 1e-6


@given(TERMS, STEPS)
def test_what_is_over_or_repeated_was_told_before(
    terms: Terms, steps: list[tuple[str, object]]
) -> None:
    standing: set[str] = set()
    for _, what in played(terms, steps).story.told:
        for notice in what.notices:
            alarm = _about(notice)
            assert (alarm in standing) or notice.what not in ("over", "still")
            if notice.what == "raised":
                standing.add(alarm)
            elif notice.what == "over":
                standing.discard(alarm)


@given(TERMS, STEPS)
def test_no_one_is_told_by_an_escalation_before_its_time(
    terms: Terms, steps: list[tuple[str, object]]
) -> None:
    for when, what in played(replace(terms, after_s=600.0), steps).story.told:
        for notice in what.notices:
            assert isinstance(notice.about, Episode)
            if notice.what == "raised" and notice.about.times == 1:
                assert when - notice.about.raised_run_s >= 600.0
