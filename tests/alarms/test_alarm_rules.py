import pytest

from afterfill.alarms import rules
from afterfill.alarms.panel import fresh_panel, judge, obey
from afterfill.records import AlarmChange, AlarmCommand

NOTHING = {"residual-oxidant": False, "free-ammonia": False, "probe-lost": False}


@pytest.mark.parametrize(
    ("p_now", "p_ever", "sees", "active", "holds"),
    [
        (0.95, 0.95, True, False, True),
        (0.89, 0.89, True, False, False),
        (0.60, 0.91, True, False, True),  # certain that it came, likely that it is still there
        (0.40, 0.99, True, False, False),  # it came, and has probably gone
        (0.60, 0.60, True, True, True),  # deadband: raised at 0.9, kept down to 0.5
        (0.49, 0.99, True, True, False),
        (0.95, 0.95, False, False, True),
        (0.10, 0.10, False, False, None),  # blind and undecided is not an all-clear
    ],
)
def test_residual_oxidant(
    p_now: float, p_ever: float, sees: bool, active: bool, holds: bool | None
) -> None:
    assert rules.residual_oxidant(p_now, p_ever, sees, active) is holds


@pytest.mark.parametrize(
    ("nh3", "active", "holds"),
    [(0.021, False, True), (0.019, False, False), (0.019, True, True), (0.017, True, False)],
)
def test_free_ammonia_has_a_deadband_of_a_tenth(nh3: float, active: bool, holds: bool) -> None:
    assert rules.free_ammonia(nh3, 0.02, active) is holds


def test_free_ammonia_without_ph_or_temperature_is_unknown() -> None:
    assert rules.free_ammonia(None, 0.02, active=False) is None


def test_a_probe_read_seldom_may_be_silent_longer() -> None:
    assert rules.silence_allowed_s(1.0) == 60.0
    assert rules.silence_allowed_s(60.0) == 300.0


def test_the_panel_tells_each_transition_once() -> None:
    panel, first = judge(
        fresh_panel(), {**NOTHING, "residual-oxidant": True}, lambda _: "why", "t", 5.0
    )
    _, again = judge(panel, {**NOTHING, "residual-oxidant": True}, lambda _: "why", "t", 6.0)
    assert first == [
        AlarmChange(5.0, "t", "residual-oxidant", "unacknowledged", "high", True, "why")
    ]
    assert again == []


def test_a_condition_that_becomes_unknown_is_said_and_so_is_its_return() -> None:
    panel, gone = judge(fresh_panel(), {"free-ammonia": None}, lambda _: "no pH", "t", 5.0)
    _, back = judge(panel, {"free-ammonia": False}, lambda _: "fine", "t", 6.0)
    assert [(c.known, c.message) for c in gone] == [(False, "cannot be judged now; no pH")]
    assert [(c.state, c.known, c.message) for c in back] == [("normal", True, "fine")]


def test_commands_change_states_and_unknown_alarms_change_nothing() -> None:
    panel, _ = judge(fresh_panel(), {"probe-lost": True}, lambda _: "x", "t", 0.0)
    panel, changes = judge(panel, {"probe-lost": True}, lambda _: "x", "t", 60.0)
    assert [c.state for c in changes] == ["unacknowledged"]
    panel, changes = obey(panel, AlarmCommand(61.0, "t", "probe-lost", "acknowledge"), 61.0)
    assert [c.state for c in changes] == ["acknowledged"]
    panel, changes = obey(panel, AlarmCommand(62.0, "t", "probe-lost", "shelve", 1.0), 62.0)
    assert [c.state for c in changes] == ["shelved"]
    gone, changes = judge(panel, {"probe-lost": False}, lambda _: "x", "t", 70.0)
    gone, changes = judge(gone, {"probe-lost": False}, lambda _: "x", "t", 101.0)
    assert [(c.state, c.active) for c in changes] == [("shelved", False)]
    _, changes = judge(panel, {"probe-lost": True}, lambda _: "x", "t", 122.0)
    assert [c.state for c in changes] == ["unacknowledged"]
    assert obey(panel, AlarmCommand(63.0, "t", "no-such-alarm", "acknowledge"), 63.0)[1] == []
