from dataclasses import replace

import pytest

from afterfill.alarms import messages, rules
from afterfill.alarms.definitions import RESIDUAL_OXIDANT
from afterfill.alarms.manager import fresh_alarms, judge, obey
from afterfill.alarms.messages import Facts
from afterfill.records import AlarmChange, AlarmCommand, Estimate, Quantiles

NOTHING = {"residual-oxidant": False, "free-ammonia": False, "probe-lost": False}


@pytest.mark.parametrize(
    ("p_now", "p_ever", "sees", "active", "holds"),
    [
        (0.95, 0.95, True, False, True),
        (0.89, 0.89, True, False, False),
        (0.60, 0.91, True, False, True),  # certain that it came, likely that it is still there
        (0.30, 0.99, True, False, True),
        (0.20, 0.99, True, False, False),  # it came, and has probably gone
        (0.30, 0.99, True, True, True),
        (0.11, 0.99, True, True, True),  # once raised, until it has very probably gone
        (0.09, 0.99, True, True, False),
        (0.60, 0.60, True, True, True),  # deadband: raised at 0.9, kept down to 0.5
        (0.40, 0.60, True, True, False),
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


@pytest.mark.parametrize(
    ("p_now", "carried_over", "says_both"),
    [(0.95, 0.96, False), (0.30, 0.94, True), (0.30, 0.60, False), (0.30, None, False)],
)
def test_a_residual_that_came_and_may_have_gone_is_told_as_both(
    p_now: float, carried_over: float | None, says_both: bool
) -> None:
    few = Quantiles(0.0, 0.01, 0.1)
    now = Estimate(5.0, "t", few, few, few, few, None, p_now, 0.1, True, None)
    facts = Facts(now, 0.019, 0.02, (6.5, 8.5), (22.0, 28.0), carried_over=carried_over)
    told = RESIDUAL_OXIDANT.message(facts)
    assert f"over it with probability {p_now:.2f}" in told
    assert ("now, and with 0.94 at some time since the refill" in told) is says_both


def test_the_panel_tells_each_transition_once() -> None:
    alarms, first = judge(
        fresh_alarms(), {**NOTHING, "residual-oxidant": True}, lambda _: "why", "t", 5.0
    )
    _, again = judge(alarms, {**NOTHING, "residual-oxidant": True}, lambda _: "why", "t", 6.0)
    assert first == [
        AlarmChange(5.0, "t", "residual-oxidant", "unacknowledged", "high", True, "why")
    ]
    assert again == []


def test_a_condition_that_becomes_unknown_is_said_and_so_is_its_return() -> None:
    alarms, gone = judge(fresh_alarms(), {"free-ammonia": None}, lambda _: "no pH", "t", 5.0)
    _, back = judge(alarms, {"free-ammonia": False}, lambda _: "fine", "t", 6.0)
    assert [(c.known, c.message) for c in gone] == [(False, "cannot be judged now; no pH")]
    assert [(c.state, c.known, c.message) for c in back] == [("normal", True, "fine")]


def test_commands_change_states_and_unknown_alarms_change_nothing() -> None:
    alarms, _ = judge(fresh_alarms(), {"probe-lost": True}, lambda _: "x", "t", 0.0)
    alarms, changes = judge(alarms, {"probe-lost": True}, lambda _: "x", "t", 60.0)
    assert [c.state for c in changes] == ["unacknowledged"]
    alarms, changes = obey(alarms, AlarmCommand(61.0, "t", "probe-lost", "acknowledge"), 61.0)
    assert [c.state for c in changes] == ["acknowledged"]
    alarms, changes = obey(alarms, AlarmCommand(62.0, "t", "probe-lost", "shelve", 1.0), 62.0)
    assert [c.state for c in changes] == ["shelved"]
    gone, changes = judge(alarms, {"probe-lost": False}, lambda _: "x", "t", 70.0)
    gone, changes = judge(gone, {"probe-lost": False}, lambda _: "x", "t", 101.0)
    assert [(c.state, c.active) for c in changes] == [("shelved", False)]
    _, changes = judge(alarms, {"probe-lost": True}, lambda _: "x", "t", 122.0)
    assert [c.state for c in changes] == ["unacknowledged"]
    assert obey(alarms, AlarmCommand(63.0, "t", "no-such-alarm", "acknowledge"), 63.0)[1] == []


@pytest.mark.parametrize(
    ("value", "active", "holds"),
    [(8.81, False, True), (8.75, False, False), (8.75, True, True), (8.69, True, False),
     (5.99, False, True), (6.05, True, True), (6.11, True, False), (None, True, None)],
)  # fmt: skip
def test_limits_have_a_deadband_inside(value: float | None, active: bool, holds: bool) -> None:
    assert rules.outside(value, (6.0, 8.8), rules.PH_DEADBAND, active) is holds


@pytest.mark.parametrize(
    ("p", "said", "sees", "sure", "holds"),
    [
        (0.3, True, True, False, True),
        (0.05, True, True, False, False),  # what was possible has gone
        (0.3, False, True, False, False),
        (0.6, False, True, False, True),
        (0.95, True, True, True, False),  # the graver alarm speaks
        (0.01, False, False, False, None),
    ],
)
def test_residual_possible(
    p: float, said: bool, sees: bool, sure: bool, holds: bool | None
) -> None:
    assert rules.residual_possible(p, said, sees, sure) is holds


@pytest.mark.parametrize(
    ("now", "ahead", "active", "holds"),
    [
        (0.01, 0.03, False, True),
        (0.01, 0.019, False, False),
        (0.01, 0.019, True, True),
        (0.021, 0.03, True, False),  # it is here: no forecast any more
        (None, 0.03, False, None),
        (0.01, None, False, None),
    ],
)
def test_ammonia_ahead(
    now: float | None, ahead: float | None, active: bool, holds: bool | None
) -> None:
    assert rules.free_ammonia_forecast(now, ahead, 0.02, active) is holds


@pytest.mark.parametrize(
    ("ph", "warmth", "holds"),
    [(0.31, 0.0, True), (-0.31, None, True), (0.1, -2.1, True), (0.1, 1.0, False),
     (None, 1.0, None), (0.1, None, None)],
)  # fmt: skip
def test_one_refill_shocks_by_either_step(
    ph: float | None, warmth: float | None, holds: bool | None
) -> None:
    assert rules.refill_shock(ph, warmth, 0.3, 2.0) is holds


@pytest.mark.parametrize(
    ("before", "ended", "now", "source", "share", "holds"),
    [
        (25.0, 24.0, 23.4, 15.0, None, True),  # it goes on falling
        (25.0, 24.0, 23.6, 15.0, None, False),
        (25.0, 24.0, 24.6, 15.0, None, False),  # the heater brings it back
        (15.0, 17.0, 17.6, 35.0, None, True),  # warm water into a cold tank
        (25.0, None, 22.9, 15.0, 0.1, True),  # more than a tenth can have done
        (25.0, None, 23.2, 15.0, 0.1, False),
        (25.0, 24.0, 20.0, 23.0, 0.1, None),  # too alike to tell
        (25.0, 24.0, 20.0, None, 0.1, None),
        (25.0, None, 20.0, 15.0, None, None),  # nothing was announced
        (25.0, 24.0, None, 15.0, 0.1, None),
    ],
)
def test_water_runs_on(
    before: float, ended: float | None, now: float | None, source: float | None,
    share: float | None, holds: bool | None,
) -> None:  # fmt: skip
    assert rules.running_on(before, ended, now, source, share) is holds


def test_each_probe_may_stand_still_as_long_as_its_water_may() -> None:
    spans_s = [rules.still_allowed_s(q, fine=False) for q in ("orp", "ph", "temperature")]
    assert spans_s == sorted(spans_s)
    assert rules.still_allowed_s("orp", fine=True) < rules.still_allowed_s("orp", fine=False)
    assert [rules.is_odd("ph", ph) for ph in (3.9, 7.0, 10.6)] == [True, False, True]
    assert [rules.is_odd("orp", mv) for mv in (-301.0, 300.0, 901.0)] == [True, False, True]


def test_a_surplus_is_an_excess_beyond_two_tankfuls() -> None:
    assert rules.neutraliser_excess(6.1, 3.0) is True
    assert rules.neutraliser_excess(5.9, 3.0) is False
    assert rules.neutraliser_excess(None, 3.0) is None


def test_the_gravest_of_those_raised_at_once_came_first_and_stays_so_until_the_next_refill() -> (
    None
):
    both = {"refill-unannounced": True, "residual-oxidant": True}
    alarms, changes = judge(fresh_alarms(), both, lambda _: "x", "t", 5.0, refill_s=1.0)
    assert {c.alarm: c.first_out for c in changes} == {
        "residual-oxidant": True, "refill-unannounced": False
    }  # fmt: skip
    alarms, changes = obey(alarms, AlarmCommand(9.0, "t", "residual-oxidant", "acknowledge"), 9.0)
    assert [c.first_out for c in changes] == [True]
    alarms, _ = judge(alarms, both, lambda _: "x", "t", 10.0)  # the watch is over
    assert alarms.first == "residual-oxidant"
    alarms, _ = judge(alarms, both, lambda _: "x", "t", 20.0, refill_s=15.0)
    assert alarms.first is None


@pytest.mark.parametrize(
    ("orp_mv", "warmer_c", "minutes", "sentence"),
    [
        (35.2, -0.91, 3.2, "seen: ORP +35 mV and -0.9 °C within 3 min, nothing announced"),
        (35.2, None, 3.2, "seen: ORP +35 mV within 3 min, nothing announced"),
        (1.0, None, None, "no such water is seen now"),
    ],
)
def test_an_unannounced_refill_is_told_by_what_was_seen(
    orp_mv: float, warmer_c: float | None, minutes: float | None, sentence: str
) -> None:
    few = Quantiles(0.0, 0.01, 0.1)
    now = Estimate(5.0, "t", few, few, few, few, None, 0.1, 0.1, True, None)
    plain = Facts(now, 0.019, 0.02, (6.5, 8.5), (22.0, 28.0))
    facts = replace(plain, orp_step_mv=orp_mv, step_c=warmer_c, watched_min=minutes)
    assert messages.unannounced(facts) == sentence
    blind = replace(facts, now=replace(now, sees=False, why_blind="probe in air"))
    assert messages.unannounced(blind) == "whether water was poured cannot be seen"
