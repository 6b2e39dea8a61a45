"""Who is told what, and when, story by story."""

from dataclasses import replace

import pytest

from afterfill.config import Notify
from afterfill.records import (
    AlarmChange,
    AlarmState,
    Priority,
    Quantiles,
    Stamp,
    Verdict,
    VerdictWord,
)
from afterfill.sinks.notify.rules import (
    KEPT_VERDICTS,
    TOGETHER,
    Due,
    Notice,
    Policy,
    after,
    newcomer,
    policy_of,
)
from afterfill.sinks.notify.state import Episode, at, from_text
from notify_story import BEGIN_S, HOUR_S, MINUTE_S, NIGHT, Story, change, stamp


def verdict(word: VerdictWord, *, final: bool = True) -> Verdict:
    return Verdict(BEGIN_S, "window", BEGIN_S - 60, word, 0.5, Quantiles(0, 0.1, 0.2), final)


def test_an_alarm_is_told_once_and_its_return_once() -> None:
    story = Story(Policy("low"))
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


def test_it_is_told_at_once_and_then_there_is_nothing_to_tell() -> None:
    story = Story(Policy())
    story.happen("probe-lost", "unacknowledged")
    story.look()
    assert [line[1:] for line in story.lines()] == [("raised", "probe-lost")]
    nothing = story.look()
    assert (nothing.notices, nothing.digest, nothing.skipped) == ((), False, 0)


def test_below_at_least_nothing_is_told() -> None:
    story = Story(Policy("high"))
    story.happen("probe-lost", "unacknowledged")
    story.wait(HOUR_S)
    story.happen("probe-lost", "normal")
    story.wait(HOUR_S)
    assert story.told == []
    assert story.state.episodes == ()


def test_an_alarm_that_went_while_the_service_refused_is_told_all_the_same() -> None:
    story = Story(Policy("low"), refuses=True)
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
    story = Story(Policy("low"), refuses=True)
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
    story = Story(Policy("low", repeat_s=0.0))
    states: tuple[AlarmState, ...] = ("unacknowledged", "acknowledged", "normal", "unacknowledged")
    for state in states:
        story.happen("residual-oxidant", state)
        story.wait(HOUR_S)
    assert [line[1] for line in story.lines()] == ["raised", "over", "raised"]


def test_a_shelf_that_ends_while_the_alarm_holds_asks_again() -> None:
    story = Story(Policy("low", repeat_s=0.0))
    story.happen("residual-oxidant", "unacknowledged")
    story.wait(MINUTE_S)
    story.happen("residual-oxidant", "shelved", active=True)
    story.wait(HOUR_S)
    story.happen("residual-oxidant", "unacknowledged")
    story.wait(MINUTE_S)
    assert [line[1] for line in story.lines()] == ["raised", "raised"]


def test_a_message_that_changes_while_the_alarm_holds_is_no_news() -> None:
    story = Story(Policy("low", repeat_s=0.0))
    story.happen("residual-oxidant", "unacknowledged")
    story.wait(MINUTE_S)
    story.happen("residual-oxidant", "unacknowledged")
    story.wait(HOUR_S)
    assert len(story.told) == 1


def said(state: AlarmState, message: str, *, active: bool) -> AlarmChange:
    return replace(change("probe-lost", state, active=active), message=message)


def about(story: Story) -> Episode:
    """What the newest notice is about."""
    (notice,) = story.told[-1][1].notices
    assert isinstance(notice.about, Episode)
    return notice.about


def test_what_was_acknowledged_and_over_before_a_look_is_told_also_at_the_lowest_priority() -> None:
    story = Story(Policy("medium"))
    story.happen("probe-lost", "unacknowledged")
    story.happen("probe-lost", "normal")
    story.look()
    assert [line[1] for line in story.lines()] == ["raised-and-over"]


def test_what_others_are_to_hear_of_first_is_not_owed_at_once() -> None:
    story = Story(Policy("medium", after_s=1.0))
    story.happen("probe-lost", "unacknowledged")
    story.happen("probe-lost", "normal")
    story.look()
    assert story.told == []


def test_the_message_is_that_of_the_last_time_it_asked_and_the_end_that_of_the_first() -> None:
    story = Story(Policy("low"), refuses=True)
    for now in (
        said("unacknowledged", "one", active=True),
        said("unacknowledged", "two", active=True),
        said("acknowledged", "three", active=True),
        replace(said("normal", "four", active=False), time_s=BEGIN_S + 9.0, priority="high"),
        replace(said("normal", "five", active=False), time_s=BEGIN_S + 19.0, priority="high"),
    ):
        story.record(now)
    story.refuses = False
    story.look()
    it = about(story)
    assert (it.message, it.end_message, it.ended_s) == ("two", "four", BEGIN_S + 9.0)
    assert (it.priority, it.state) == ("high", "normal")


def test_a_latched_alarm_keeps_what_it_said_when_it_held() -> None:
    story = Story(Policy("low"), refuses=True)
    story.record(said("unacknowledged", "one", active=True))
    story.record(said("unacknowledged", "two", active=False))
    story.refuses = False
    story.look()
    assert (about(story).message, about(story).end_message) == ("one", "two")


def test_an_end_that_was_none_is_forgotten() -> None:
    story = Story(Policy("low"))
    story.record(said("unacknowledged", "one", active=True))
    story.look()
    story.record(said("unacknowledged", "two", active=False))
    story.record(said("shelved", "three", active=True))
    (it,) = story.state.episodes
    assert (it.ended_s, it.end_message, it.state) == (None, "", "shelved")


def test_an_alarm_that_was_told_and_is_raised_again_begins_again() -> None:
    story = Story(Policy("low"))
    story.happen("probe-lost", "unacknowledged")
    story.wait(MINUTE_S)
    assert [e.times for e in story.state.episodes] == [1]
    story.happen("probe-lost", "acknowledged")
    story.happen("probe-lost", "unacknowledged")
    story.look()
    assert (about(story).raised_s, about(story).times) == (BEGIN_S + MINUTE_S, 1)


def test_what_was_counted_is_told_and_counted_no_more() -> None:
    story = Story(Policy("low"), refuses=True)
    for _ in range(2):
        story.happen("probe-lost", "unacknowledged")
        story.happen("probe-lost", "acknowledged")
    assert [e.times for e in story.state.episodes] == [2]
    story.refuses = False
    story.look()
    assert about(story).times == 2
    assert [e.times for e in story.state.episodes] == [1]


def test_the_state_names_the_last_record() -> None:
    for record in (change("probe-lost", "unacknowledged"), verdict("clear")):
        assert after(Policy(), newcomer(3, stamp(0.0)), 7, stamp(1.0), record).seq == 7


def test_a_policy_is_that_of_its_table() -> None:
    table = Notify.model_validate(
        {
            "url_file": "urls", "at_least": "high", "verdicts": True, "after_minutes": 3.0,
            "repeat_minutes": 5.0, "quiet": ["22:00", "07:00"], "quiet_up_to": "medium",
            "per_hour": 7.0,
        }
    )  # fmt: skip
    assert policy_of(table) == Policy("high", True, 180.0, 300.0, NIGHT, "medium", 7.0)
    assert policy_of(Notify(url_file=table.url_file)) == Policy(repeat_s=15 * MINUTE_S)


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
def test_high_is_repeated_until_it_is_answered_or_over(ends: AlarmState, active: bool) -> None:
    story = Story(Policy(repeat_s=15 * MINUTE_S))
    story.happen("residual-oxidant", "unacknowledged")
    story.wait(46 * MINUTE_S)
    assert [(round(t), what) for t, what, _ in story.lines()] == [
        (30, "raised"), (930, "still"), (1830, "still"), (2730, "still"),
    ]  # fmt: skip
    story.happen("residual-oxidant", ends, active=active)
    story.wait(2 * HOUR_S)
    assert [what for _, what, _ in story.lines()[4:]] == ([] if active else ["over"])


def test_medium_is_not_repeated() -> None:
    story = Story(Policy(repeat_s=15 * MINUTE_S))
    story.happen("probe-lost", "unacknowledged")
    story.wait(5 * HOUR_S)
    assert len(story.told) == 1


@pytest.mark.parametrize("answer", ["acknowledged", "shelved", "normal"])
def test_the_second_one_is_told_only_without_an_answer_in_time(answer: AlarmState) -> None:
    story = Story(Policy(after_s=30 * MINUTE_S, repeat_s=0.0))
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


def test_a_late_look_still_knows_that_the_time_had_come_before_the_answer() -> None:
    story = Story(Policy(after_s=30 * MINUTE_S))
    story.happen("residual-oxidant", "unacknowledged")
    story.now_s = 31 * MINUTE_S
    story.happen("residual-oxidant", "acknowledged")
    story.look()
    assert [line[1] for line in story.lines()] == ["raised"]


def test_a_latched_alarm_that_was_not_looked_at_is_escalated_although_it_is_over() -> None:
    story = Story(Policy(after_s=30 * MINUTE_S))
    story.happen("residual-oxidant", "unacknowledged")
    story.wait(10 * MINUTE_S)
    story.happen("residual-oxidant", "unacknowledged", active=False)
    story.wait(HOUR_S)
    assert [line[1] for line in story.lines()] == ["raised-and-over"]


def test_the_end_of_a_latched_alarm_is_told_and_its_release_is_not() -> None:
    story = Story(Policy(repeat_s=15 * MINUTE_S))
    story.happen("residual-oxidant", "unacknowledged")
    story.wait(MINUTE_S)
    story.happen("residual-oxidant", "unacknowledged", active=False)
    story.wait(2 * HOUR_S)
    story.happen("residual-oxidant", "unacknowledged", active=False)
    story.wait(HOUR_S)
    story.happen("residual-oxidant", "normal")
    story.wait(HOUR_S)
    assert [line[1] for line in story.lines()] == ["raised", "over"]


@pytest.mark.parametrize(("waited_s", "told"), [(29.0, 0), (30.0, 1)])
def test_an_escalation_comes_in_its_second(waited_s: float, told: int) -> None:
    story = Story(Policy("medium", after_s=30.0))
    story.happen("probe-lost", "unacknowledged")
    story.wait(waited_s, step_s=1.0)
    assert len(story.told) == told


def test_the_shortest_reminder_comes_after_a_second() -> None:
    story = Story(Policy(repeat_s=1.0))
    story.happen("residual-oxidant", "unacknowledged")
    story.look()
    story.wait(1.0)
    assert [line[1] for line in story.lines()] == ["raised", "still"]


# --- quiet hours -------------------------------------------------------------------------------


def test_low_waits_for_the_end_of_quiet_hours_and_comes_as_one_digest() -> None:
    story = Story(Policy("low", quiet=NIGHT), minute_of_day=23 * 60)
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
    cases: list[tuple[Priority, int]] = [("low", 2), ("medium", 1)]
    for up_to, expected in cases:
        policy = Policy("low", quiet=NIGHT, quiet_up_to=up_to, repeat_s=0.0)
        story = Story(policy, minute_of_day=2 * 60)
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
    story = Story(Policy("low", quiet=quiet), minute_of_day=minute)
    story.happen("calibration-due", "unacknowledged")
    assert (story.look() == Due()) == held


def test_what_waits_is_still_new_when_it_is_told_and_only_that_message_is_a_digest() -> None:
    story = Story(Policy("low", quiet=NIGHT, repeat_s=0.0), minute_of_day=6 * 60)
    story.happen("calibration-due", "unacknowledged")
    story.wait(MINUTE_S)
    story.happen("residual-oxidant", "unacknowledged")
    story.wait(HOUR_S)
    story.happen("probe-lost", "unacknowledged")
    story.wait(HOUR_S)
    assert [line[1:] for line in story.lines()] == [
        ("raised", "residual-oxidant"), ("raised", "calibration-due"), ("raised", "probe-lost")
    ]  # fmt: skip
    assert [what.digest for _, what in story.told] == [False, True, False]


# --- the rate ----------------------------------------------------------------------------------


def test_beyond_the_rate_notices_are_joined_and_none_is_dropped() -> None:
    story = Story(Policy("low", repeat_s=0.0, per_hour=2.0))
    for number in range(40):
        story.record(replace(change("probe-lost", "unacknowledged"), tank=f"tank-{number}"))
        story.wait(MINUTE_S)
    story.wait(HOUR_S)
    tanks = [n.about.tank for _, what in story.told for n in what.notices]
    assert sorted(tanks) == sorted(f"tank-{number}" for number in range(40))
    assert len(story.told) <= TOGETHER + 2


def test_the_last_message_is_kept_for_a_new_high_alarm() -> None:
    story = Story(Policy("low", repeat_s=0.0, per_hour=1.0))
    for number in range(9):
        story.record(replace(change("probe-lost", "unacknowledged"), tank=f"tank-{number}"))
        story.wait(MINUTE_S)
    assert len(story.told) == TOGETHER - 1
    story.happen("residual-oxidant", "unacknowledged")
    what = story.look()
    assert [n.priority for n in what.notices][:1] == ["high"]
    assert len(what.notices) > 1, "what waited goes with it"


@pytest.mark.parametrize(("waited_s", "told"), [(3599.0, TOGETHER), (3600.0, TOGETHER + 1)])
def test_the_rate_is_per_hour_to_the_second(waited_s: float, told: int) -> None:
    story = Story(Policy(repeat_s=0.0, per_hour=1.0))
    for number in range(TOGETHER + 1):
        story.record(replace(change("residual-oxidant", "unacknowledged"), tank=f"t{number}"))
        story.look()
    assert len(story.told) == TOGETHER
    story.wait(waited_s, step_s=waited_s)
    assert len(story.told) == told


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
    word: VerdictWord, final: bool, told: int
) -> None:
    for asked in (True, False):
        story = Story(Policy(verdicts=asked))
        story.record(verdict(word, final=final))
        story.wait(HOUR_S)
        assert len(story.told) == (told if asked else 0)


def test_verdicts_beyond_what_is_kept_are_counted() -> None:
    story = Story(Policy(verdicts=True), refuses=True)
    for number in range(KEPT_VERDICTS + 7):
        story.record(replace(verdict("carried-over"), time_s=BEGIN_S + number))
    story.refuses = False
    what = story.look()
    assert (len(what.notices), what.skipped) == (KEPT_VERDICTS, 7)
    story.record(verdict("carried-over"))
    assert story.look().skipped == 0


@pytest.mark.parametrize(("word", "priority"), [("carried-over", "medium"), ("cannot-tell", "low")])
def test_a_verdict_is_as_urgent_as_its_word(word: VerdictWord, priority: Priority) -> None:
    story = Story(Policy(verdicts=True))
    story.record(verdict(word))
    assert story.look().notices == (Notice("verdict", priority, verdict(word)),)


def test_how_many_verdicts_were_too_many_is_kept_until_verdicts_are_told() -> None:
    policy = Policy("medium", verdicts=True, quiet=NIGHT)
    story = Story(policy, minute_of_day=6 * 60)
    for _ in range(KEPT_VERDICTS + 3):
        story.record(verdict("cannot-tell"))
    story.happen("residual-oxidant", "unacknowledged")
    story.look()
    assert len(story.told[0][1].notices) == 1
    assert story.state.skipped == 3
    story.wait(HOUR_S)
    assert story.state.skipped == 0


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


def test_what_is_said_of_a_dose_follows_the_alarm() -> None:
    told = Story(Policy())
    first = replace(change("residual-oxidant", "unacknowledged"), advice="put 2.8 mL")
    told.record(first)
    told.record(replace(first, advice="2.8 mL are logged: give no more"))
    (episode,) = told.state.episodes
    assert episode.advice == "2.8 mL are logged: give no more"
    told.record(change("residual-oxidant", "returned-to-normal-unacknowledged"))
    (episode,) = told.state.episodes
    assert episode.advice == "2.8 mL are logged: give no more"
