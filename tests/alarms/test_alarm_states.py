"""Every state of the standard by every event, condition and time, and what must always hold.

The table is written by hand from the state diagram of ISA-18.2 (from status); `.` is the state
itself. What hides an alarm (shelf, suppression, out of service) is left by its own end only.
"""

from dataclasses import replace
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from afterfill.alarms import lifecycle
from afterfill.alarms.definition import Definition, Steps
from afterfill.alarms.lifecycle import AlarmStatus, advance, state_of
from afterfill.records import AlarmState

PLAIN = Definition(
    name="plain", title="a plain one", label="Plain", group="water",
    severity="severe", urgency="minutes",
    why_delays="w", cause="c", consequence="c", time_to_respond="t", steps=Steps("a"),
)  # fmt: skip
LATCHING = replace(PLAIN, latches="a person must look")
DELAYED = replace(PLAIN, on_delay_s=60.0, off_delay_s=60.0)
NOW_S, END_S = 1000.0, 2000.0

N, U, A, R = "normal", "unacknowledged", "acknowledged", "returned-to-normal-unacknowledged"
S, D, O = "shelved", "suppressed-by-design", "out-of-service"  # noqa: E741 - the initials of the states
HOLDING = AlarmStatus(active=True, acknowledged=False)
START: dict[str, AlarmStatus] = {
    N: AlarmStatus(),
    U: HOLDING,
    A: AlarmStatus(active=True),
    R: AlarmStatus(acknowledged=False),
    S: AlarmStatus(shelved_until_s=END_S),
    D: AlarmStatus(suppressed_until_s=END_S, suppressed_why="work"),
    O: AlarmStatus(out_since_s=1.0, out_why="glass on order", reminded_s=NOW_S),
}
# rows: event and condition; columns: the states N U A R S D O it happens in
TABLE = {
    ("time passes", True): (U, U, A, U, S, D, O),
    ("time passes", False): (N, R, N, R, S, D, O),
    ("time passes", None): (N, U, A, R, S, D, O),
    ("acknowledge", True): (N, A, A, N, S, D, O),
    ("acknowledge", False): (N, A, A, N, S, D, O),
    ("acknowledge", None): (N, A, A, N, S, D, O),
    ("shelve", True): (S, S, S, S, S, D, O),
    ("shelve", False): (S, S, S, S, S, D, O),
    ("shelve", None): (S, S, S, S, S, D, O),
    ("unshelve", True): (N, U, A, R, N, D, O),
    ("unshelve", False): (N, U, A, R, N, D, O),
    ("unshelve", None): (N, U, A, R, N, D, O),
    ("suppress", True): (D, U, D, R, D, D, O),
    ("suppress", False): (D, U, D, R, D, D, O),
    ("suppress", None): (D, U, D, R, D, D, O),
    ("out of service", True): (O, O, O, O, O, O, O),
    ("out of service", False): (O, O, O, O, O, O, O),
    ("out of service", None): (O, O, O, O, O, O, O),
    ("return to service", True): (N, U, A, R, S, D, N),
    ("return to service", False): (N, U, A, R, S, D, N),
    ("return to service", None): (N, U, A, R, S, D, N),
    ("its end comes", True): (U, U, A, U, U, U, O),
    ("its end comes", False): (N, R, N, R, N, N, O),
    ("its end comes", None): (N, U, A, R, N, N, O),
}


def happens(
    status: AlarmStatus, event: str, condition: bool | None, time_s: float = NOW_S
) -> AlarmStatus:
    match event:
        case "time passes":
            return advance(PLAIN, status, condition, time_s)
        case "its end comes":
            return advance(PLAIN, status, condition, END_S)
        case "acknowledge":
            return lifecycle.acknowledge(status)
        case "shelve":
            return lifecycle.shelve(status, END_S)
        case "unshelve":
            return lifecycle.unshelve(status)
        case "suppress":
            return lifecycle.suppress(status, END_S, "work")
        case "out of service":
            return lifecycle.out_of_service(status, time_s, "why")
        case _:
            return lifecycle.return_to_service(status)


@pytest.mark.parametrize(("event", "condition"), list(TABLE), ids=str)
@pytest.mark.parametrize("column", range(7), ids=list(START))
def test_every_state_by_every_event(column: int, event: str, condition: bool | None) -> None:
    before = list(START)[column]
    assert state_of(START[before]) == before
    assert state_of(happens(START[before], event, condition)) == TABLE[event, condition][column]


def test_the_table_has_every_state_and_those_that_stand_ask_or_asked() -> None:
    assert set(START) == set(get_args(AlarmState))
    assert {state for state in START if state not in lifecycle.STANDING_STATES} == {N, S, D, O}


def test_a_latched_alarm_stays_until_it_is_acknowledged_and_has_returned() -> None:
    gone = advance(LATCHING, HOLDING, False, NOW_S)
    assert (state_of(gone), gone.active) == (U, False)
    assert state_of(lifecycle.acknowledge(gone)) == N
    seen = lifecycle.acknowledge(HOLDING)
    assert state_of(seen) == A
    assert state_of(advance(LATCHING, seen, False, NOW_S)) == N


def test_what_comes_and_goes_while_it_means_nothing_leaves_no_trace() -> None:
    for hidden in (START[D], START[O]):
        status = advance(PLAIN, advance(PLAIN, hidden, True, NOW_S), False, NOW_S + 1)
        status = advance(PLAIN, status, False, END_S)
        assert state_of(lifecycle.return_to_service(status)) == N


def test_what_comes_and_goes_on_a_shelf_is_told_afterwards() -> None:
    status = advance(PLAIN, advance(PLAIN, START[S], True, NOW_S), False, NOW_S + 1)
    assert state_of(advance(PLAIN, status, False, END_S)) == R


def test_an_alarm_out_of_service_is_told_of_once_a_day() -> None:
    status = lifecycle.out_of_service(AlarmStatus(), 0.0, "glass on order")
    days = 0
    for hour in range(24 * 3 + 1):
        after = advance(PLAIN, status, False, 3600.0 * hour)
        days += after.reminded_s != status.reminded_s
        status = after
    assert days == 3


CONDITIONS = st.sampled_from([True, False, None])
EVENTS = st.sampled_from(sorted({event for event, _ in TABLE} - {"its end comes"}))
STEPS = st.lists(st.tuples(EVENTS, CONDITIONS, st.floats(1.0, 500.0)), max_size=30)


@given(STEPS)
def test_nothing_unacknowledged_is_lost_but_by_a_person(
    steps: list[tuple[str, bool | None, float]],
) -> None:
    status, time_s = HOLDING, NOW_S
    for event, condition, pause_s in steps:
        time_s += pause_s
        before, status = status, happens(status, event, condition, time_s)
        if event != "acknowledge":
            assert before.acknowledged or not status.acknowledged


@given(STEPS)
def test_every_shelf_and_suppression_ends(steps: list[tuple[str, bool | None, float]]) -> None:
    status = AlarmStatus()
    for event, condition, _ in steps:
        status = happens(status, event, condition)
    status = advance(PLAIN, lifecycle.return_to_service(status), None, END_S)
    assert state_of(status) not in (S, D, O)


@given(STEPS)
def test_what_cannot_be_judged_never_turns_an_alarm(
    steps: list[tuple[str, bool | None, float]],
) -> None:
    status, time_s = HOLDING, NOW_S
    for event, _, pause_s in steps:
        time_s += pause_s
        status = happens(status, event, None, time_s)
        assert status.active


@given(STEPS)
def test_nothing_changes_before_its_due_time_while_the_condition_stays(
    steps: list[tuple[str, bool | None, float]],
) -> None:
    status, time_s, condition = AlarmStatus(), NOW_S, None
    for event, condition, pause_s in steps:
        time_s += pause_s
        status = happens(status, event, condition, time_s)
    status = advance(DELAYED, status, condition, time_s)
    due_s = lifecycle.due_s(DELAYED, status)
    just_before_s = time_s + 1e6 if due_s is None else due_s - 0.001
    assert advance(DELAYED, status, condition, max(just_before_s, time_s)) == status


def test_nothing_that_happens_is_the_very_same_status() -> None:
    for status in (AlarmStatus(), HOLDING):
        assert advance(PLAIN, status, status.active, NOW_S) is status


def test_what_can_be_judged_again_is_known_before_its_delay_is_over() -> None:
    unknown = advance(DELAYED, AlarmStatus(), None, NOW_S)
    assert advance(DELAYED, unknown, True, NOW_S).known is True


def test_a_latch_ends_when_the_alarm_is_raised_again_or_acknowledged() -> None:
    latched = advance(LATCHING, HOLDING, False, NOW_S)
    assert latched.latched
    assert advance(LATCHING, latched, True, NOW_S + 1) == HOLDING
    assert lifecycle.acknowledge(latched) == AlarmStatus()


def test_out_of_service_a_second_time_changes_the_reason_and_the_day_of_the_reminder() -> None:
    out = lifecycle.out_of_service(AlarmStatus(), 1.0, "glass on order")
    again = lifecycle.out_of_service(out, NOW_S, "glass has come")
    assert again == AlarmStatus(out_since_s=1.0, out_why="glass has come", reminded_s=NOW_S)
    assert lifecycle.return_to_service(again) == AlarmStatus()


def test_a_suppression_that_has_ended_leaves_nothing() -> None:
    work = lifecycle.suppress(AlarmStatus(), END_S, "work")
    assert work == START[D]
    assert advance(PLAIN, work, False, END_S) == AlarmStatus()


def test_an_alarm_is_due_when_its_delay_its_shelf_or_its_day_ends() -> None:
    slow = replace(PLAIN, on_delay_s=60.0, off_delay_s=90.0)
    rising, falling = (advance(slow, s, not s.active, NOW_S) for s in (AlarmStatus(), HOLDING))
    assert lifecycle.due_s(slow, rising) == NOW_S + 60.0
    assert lifecycle.due_s(slow, falling) == NOW_S + 90.0
    assert lifecycle.due_s(slow, lifecycle.shelve(rising, NOW_S + 30.0)) == NOW_S + 30.0
    assert lifecycle.due_s(slow, START[D]) == END_S
    assert lifecycle.due_s(slow, START[O]) == NOW_S + 86400.0
    assert lifecycle.due_s(slow, HOLDING) is None
