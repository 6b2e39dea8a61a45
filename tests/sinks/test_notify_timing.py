"""When messages are told: reminders, escalation, quiet hours, and how many an hour."""

from dataclasses import replace

import pytest

from afterfill.records import (
    AlarmState,
    Priority,
)
from afterfill.sinks.notify.rules import (
    TOGETHER,
    Due,
    Policy,
)
from notify_story import HOUR_S, MINUTE_S, NIGHT, Story, change, verdict

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
