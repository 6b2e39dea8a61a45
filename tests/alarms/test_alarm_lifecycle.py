"""The states and their words are those of ISA-18.2 / IEC 62682 as printed in OPC 10000-9 (from
status); delays and deadband follow the definitions in this project."""

from dataclasses import replace

import pytest

from afterfill.alarms.definition import Definition, Steps
from afterfill.alarms.definitions import DEFINITIONS, FREE_AMMONIA
from afterfill.alarms.lifecycle import AlarmStatus, acknowledge, advance, shelve, state_of

QUICK = Definition(
    name="quick", title="a quick one", label="Quick", group="water",
    severity="severe", urgency="minutes",
    why_delays="w", cause="c", consequence="c", time_to_respond="t", steps=Steps("a"),
)  # fmt: skip
SLOW = replace(QUICK, name="slow", on_delay_s=60.0, off_delay_s=120.0)


def test_an_alarm_without_delay_is_raised_and_returns_at_once() -> None:
    raised = advance(QUICK, AlarmStatus(), True, 10.0)
    assert state_of(raised) == "unacknowledged"
    assert state_of(advance(QUICK, raised, False, 11.0)) == "returned-to-normal-unacknowledged"


def test_acknowledged_then_cleared_is_normal() -> None:
    raised = acknowledge(advance(QUICK, AlarmStatus(), True, 10.0))
    assert state_of(raised) == "acknowledged"
    assert state_of(advance(QUICK, raised, False, 11.0)) == "normal"


def test_returned_unacknowledged_becomes_normal_when_acknowledged() -> None:
    back = advance(QUICK, advance(QUICK, AlarmStatus(), True, 1.0), False, 2.0)
    assert state_of(acknowledge(back)) == "normal"


@pytest.mark.parametrize(("held_s", "state"), [(59.0, "normal"), (60.0, "unacknowledged")])
def test_on_delay_holds_back_what_is_short(held_s: float, state: str) -> None:
    waiting = advance(SLOW, AlarmStatus(), True, 100.0)
    assert state_of(advance(SLOW, waiting, True, 100.0 + held_s)) == state


def test_an_interruption_starts_the_on_delay_again() -> None:
    status = advance(SLOW, AlarmStatus(), True, 0.0)
    status = advance(SLOW, status, False, 50.0)
    status = advance(SLOW, status, True, 55.0)
    assert state_of(advance(SLOW, status, True, 100.0)) == "normal"
    assert state_of(advance(SLOW, status, True, 115.0)) == "unacknowledged"


def test_off_delay_keeps_an_alarm_that_flickers() -> None:
    status = advance(SLOW, advance(SLOW, AlarmStatus(), True, 0.0), True, 60.0)
    status = advance(SLOW, status, False, 70.0)
    assert state_of(advance(SLOW, status, False, 189.0)) == "unacknowledged"
    assert state_of(advance(SLOW, status, False, 190.0)) == "returned-to-normal-unacknowledged"


def test_an_alarm_raised_again_must_be_acknowledged_again() -> None:
    status = acknowledge(advance(QUICK, AlarmStatus(), True, 1.0))
    status = advance(QUICK, advance(QUICK, status, False, 2.0), True, 3.0)
    assert state_of(status) == "unacknowledged"


def test_what_cannot_be_judged_neither_raises_nor_clears() -> None:
    raised = advance(QUICK, AlarmStatus(), True, 1.0)
    unknown = advance(QUICK, raised, None, 2.0)
    assert state_of(unknown) == "unacknowledged"
    assert not unknown.known
    assert state_of(advance(QUICK, AlarmStatus(), None, 2.0)) == "normal"


def test_shelving_ends_by_itself_and_a_standing_alarm_asks_again() -> None:
    shelved = shelve(acknowledge(advance(QUICK, AlarmStatus(), True, 1.0)), until_s=100.0)
    assert state_of(advance(QUICK, shelved, True, 99.0)) == "shelved"
    assert state_of(advance(QUICK, shelved, True, 100.0)) == "unacknowledged"


def test_shelving_a_quiet_alarm_ends_quietly() -> None:
    shelved = shelve(AlarmStatus(), until_s=100.0)
    assert state_of(advance(QUICK, shelved, False, 100.0)) == "normal"


def test_every_alarm_carries_its_reason() -> None:
    assert set(DEFINITIONS) >= {"residual-oxidant", "free-ammonia", "probe-lost", "cannot-see"}
    for definition in DEFINITIONS.values():
        assert all((definition.cause, definition.consequence, definition.action))
        assert definition.time_to_respond
    assert FREE_AMMONIA.on_delay_s > 0.0
