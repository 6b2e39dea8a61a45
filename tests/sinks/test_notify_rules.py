"""Who is told what, and when, story by story."""

from dataclasses import replace

import pytest

from afterfill.config import Notify
from afterfill.records import (
    AlarmChange,
    AlarmState,
    Priority,
    Stamp,
    VerdictWord,
)
from afterfill.sinks.notify.rules import (
    KEPT_VERDICTS,
    Notice,
    Policy,
    after,
    newcomer,
    policy_of,
)
from afterfill.sinks.notify.state import Episode, at, from_text
from notify_story import BEGIN_S, HOUR_S, MINUTE_S, NIGHT, Story, change, stamp, verdict


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
