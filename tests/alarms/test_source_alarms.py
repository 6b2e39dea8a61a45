"""A source that is not what it was, and one that was not tested for long."""

from collections.abc import Iterable

from afterfill.inference.source import SourceBelief
from afterfill.records import AlarmChange, Output, Reading, Service, SourceTest, Tick
from afterfill.tank import folded
from tank_stories import HOUR_S, QUANTITIES, ZERO_S, after, config_of, merged, setup_of, story

DAY_S = 86_400.0


def told(found: Iterable[Output], alarm: str) -> list[AlarmChange]:
    return [o for o in found if isinstance(o, AlarmChange) and o.alarm == alarm]


def of_tests(
    *tests: tuple[float, float, float | None], disinfectant: str = "chloramine"
) -> list[bool]:
    """What `source-changed` says after tests (hour, total, free)."""
    events = [SourceTest(ZERO_S + h * HOUR_S, "t", "tap", total, free) for h, total, free in tests]
    setup = setup_of(config_of(disinfectant, 2.0))
    found = after(setup, merged(story(1.0), events))[1]
    return [change.active for change in told(found, "source-changed") if change.known]


def test_a_level_that_doubled_after_a_test_is_told_until_a_second_test_agrees() -> None:
    assert of_tests((0.2, 2.0, None), (0.4, 4.0, None)) == [True]
    assert of_tests((0.2, 2.0, None), (0.4, 4.0, None), (0.6, 4.0, None)) == [True, False]
    assert of_tests((0.2, 2.0, None), (0.4, 2.4, None)) == []


def test_a_first_guess_may_be_half_or_twice_and_nothing_has_changed() -> None:
    assert of_tests((0.2, 4.0, None)) == []
    assert of_tests((0.2, 1.0, None)) == []
    assert of_tests((0.2, 6.0, None)) == [True]


def test_another_kind_is_told() -> None:
    assert of_tests((0.2, 2.0, 1.8)) == [True]
    assert of_tests((0.2, 2.0, 0.2)) == []
    assert of_tests((0.2, 2.0, 0.2), disinfectant="chlorine") == [True]


def test_the_message_has_the_level_with_its_interval() -> None:
    setup = setup_of(config_of("chloramine", 2.0))
    tests = [SourceTest(ZERO_S + h, "t", "tap", c) for h, c in ((600.0, 2.0), (1200.0, 4.0))]
    (change,) = told(after(setup, merged(story(0.5), tests))[1], "source-changed")
    assert change.message.startswith("source tap is believed to hold 3.")
    assert "chloramine now" in change.message
    assert change.priority == "medium"


def overdue_after(days: float, tested_on: float | None) -> list[bool]:
    setup = setup_of(config_of())
    state, _ = after(setup, story(0.2))
    if tested_on is not None:
        test = SourceTest(ZERO_S + tested_on * DAY_S, "t", "tap", 2.0)
        state, _ = folded(setup, state, test)
    found: list[Output] = []
    for minute in range(4):
        at_s = ZERO_S + days * DAY_S + 60.0 * minute
        for record in (Tick(at_s, "t"), Reading(at_s, "t", "orp", 300.0 + minute)):
            state, outputs = folded(setup, state, record)
            found += outputs
    changes = told(found, "source-test-overdue")
    assert {change.priority for change in changes} <= {"low"}
    return [change.active for change in changes]


def test_half_a_year_without_a_word_is_told_as_overdue() -> None:
    assert overdue_after(181.0, None) == []
    assert overdue_after(183.0, None) == [True]
    assert overdue_after(183.0, 100.0) == []
    assert overdue_after(283.0, 100.0) == [True]


def test_without_a_source_no_test_is_asked_for() -> None:
    config = config_of().model_copy(update={"source": {}})
    setup = setup_of(config)
    state, _ = after(setup, story(0.1))
    late = Tick(ZERO_S + 400 * DAY_S, "t")
    assert told(folded(setup, state, late)[1], "source-test-overdue") == []
    assert SourceBelief(0.0, 0.1, 0.0).changed is False


def test_work_on_a_probe_does_not_put_it_off() -> None:
    setup = setup_of(config_of())
    state, _ = after(setup, story(0.1))
    for quantity in QUANTITIES:
        work = Service(ZERO_S + 170 * DAY_S, "t", "probe", quantity=quantity)
        state, _ = folded(setup, state, work)
    found = folded(setup, state, Tick(ZERO_S + 183 * DAY_S, "t"))[1]
    assert [change.active for change in told(found, "source-test-overdue")] == [True]
