"""What comes at the same hour of the day, or was told of, is no reason for a high alarm."""

import pytest

from afterfill.inference.monitor import habits
from afterfill.records import AlarmChange, Output, Service, ServiceWhat, Verdict
from afterfill.simulation.virtual_tank import Disturbance
from tank_stories import HOUR_S, ZERO_S, config_of, found_in, merged, setup_of, story, transitions

DAY_S = 86_400.0
SETUP = setup_of(config_of("chlorine", 2.0))
LAMP = [Disturbance((6.0 + 24.0 * day) * HOUR_S, 60.0, 3 * HOUR_S) for day in range(5)]


def high_on_days(found: list[Output]) -> list[int]:
    changes = transitions(found, "residual-oxidant")
    return [int((o.time_s - ZERO_S) // DAY_S) for o in changes if o.active]


def test_the_third_day_at_the_same_hour_is_a_habit() -> None:
    risen: tuple[float, ...] = ()
    for day in range(3):
        at_s = 1e9 + DAY_S * day + 600.0 * day
        assert habits.is_habit(risen, at_s) == (day == 2)
        risen = habits.appended(risen, at_s)
    assert not habits.is_habit(risen, 1e9 + 3 * DAY_S + 4 * HOUR_S)
    assert habits.is_habit(risen, 1e9 + 4 * DAY_S)
    assert not habits.is_habit(risen, 1e9 + 30 * DAY_S + 20 * HOUR_S)


def test_twice_on_one_day_is_no_habit() -> None:
    risen = habits.appended(habits.appended((), 1e9), 1e9 + 1800.0)
    assert not habits.is_habit(risen, 1e9 + 3000.0)


@pytest.mark.parametrize("off_s", [3600.0, -3600.0])
def test_the_same_hour_is_within_an_hour_on_two_earlier_days(off_s: float) -> None:
    at_s = 1e9
    near = tuple(at_s - days * DAY_S + off_s for days in (2, 1))
    assert habits.is_habit(near, at_s)
    assert not habits.is_habit((near[0], near[1] + off_s / 3600.0), at_s)
    assert not habits.is_habit((near[1], at_s - 60.0), at_s)


def test_rises_are_kept_for_a_fortnight_and_not_without_bound() -> None:
    at_s = 1e9
    assert habits.appended((at_s - 14 * DAY_S, at_s - 14 * DAY_S + 1.0), at_s) == (
        at_s - 14 * DAY_S + 1.0,
        at_s,
    )
    many = tuple(at_s - 100.0 + number for number in range(100))
    assert habits.appended(many, at_s) == (*many[36:], at_s)


def test_what_was_told_is_a_habit_at_once_and_on_the_next_day() -> None:
    told = habits.as_told(1e9)
    assert told == (1e9 - 2 * DAY_S, 1e9 - DAY_S, 1e9)
    assert habits.is_habit(told, 1e9)
    assert habits.is_habit(told, 1e9 + DAY_S)


def test_a_lamp_by_a_timer_is_learnt_by_its_hour() -> None:
    found = found_in(SETUP, story(24 * 5, [], LAMP, every_s=60.0), 600.0)
    assert [day for day in high_on_days(list(found)) if day >= 2] == []


@pytest.mark.parametrize("what", ["lamp", "ozone", "medicine"])
def test_what_was_told_of_is_believed_and_gives_no_all_clear(what: ServiceWhat) -> None:
    told = Service(ZERO_S + 5.9 * HOUR_S, "t", what)
    inputs = merged(story(16, [], LAMP[:1]), [told])
    found = found_in(SETUP, inputs)
    assert high_on_days(list(found)) == []
    assert "clear" not in [v.verdict for v in found if isinstance(v, Verdict)]


def test_a_lamp_told_of_while_its_rise_is_looked_into_ends_the_alarm() -> None:
    """The keeper sees the alarm, remembers the lamp and says so half an hour after it came on."""
    told = Service(ZERO_S + 6.5 * HOUR_S, "t", "lamp")
    inputs = story(10, [], [Disturbance(6.0 * HOUR_S, 90.0, 3 * HOUR_S)])
    last: dict[str, AlarmChange] = {}
    for name, said in (("told", [told]), ("untold", [])):
        found = found_in(SETUP, merged(inputs, said))
        assert high_on_days(list(found)) == [0]
        changes = [o for o in found if isinstance(o, AlarmChange) and o.alarm == "residual-oxidant"]
        last[name] = changes[-1]
        if said:
            final = [v.verdict for v in found if isinstance(v, Verdict)][-1]
            assert final == "cannot-tell"
    assert last["untold"].time_s > ZERO_S + 8.5 * HOUR_S  # as long as the lamp is on
    assert not last["told"].active
    assert last["told"].time_s < ZERO_S + 7.0 * HOUR_S
