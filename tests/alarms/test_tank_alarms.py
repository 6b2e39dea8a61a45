"""The alarms of a tank through the whole fold, across restarts and to the byte."""

from collections.abc import Iterable
from dataclasses import replace
from typing import Literal

import pytest

from afterfill.alarms.definitions import DEFINITIONS
from afterfill.records import (
    AlarmAction,
    AlarmChange,
    AlarmCommand,
    Calibration,
    Dose,
    Input,
    MachineState,
    Output,
    Reading,
    Refill,
    Service,
    known_since_s,
)
from afterfill.tank import TankState, folded
from afterfill.tank_setup import TankSetup
from afterfill.tank_snapshot import from_bytes, to_bytes
from tank_stories import HOUR_S, ZERO_S, config_of, merged, pour, raised, raw, setup_of, story

SETUP = setup_of(config_of())
DAY_S = 86400.0


def readings(
    hours: float, ph: float = 7.2, warmth_c: float = 25.0, from_s: float = ZERO_S
) -> list[Input]:
    """Quiet readings each 20 s: an ORP that wavers, the others nearly still."""
    found: list[Input] = []
    for n in range(int(hours * 180)):
        time_s, wobble = from_s + 20.0 * n, 0.001 * (n % 3)
        found.append(Reading(time_s, "t", "temperature", warmth_c + wobble))
        found.append(Reading(time_s, "t", "ph", ph + wobble))
        found.append(Reading(time_s, "t", "orp", 300.0 + 0.2 * (n % 7)))
    return found


def run(
    inputs: Iterable[Input], state: TankState | None = None, setup: TankSetup = SETUP
) -> tuple[TankState, list[Output]]:
    now, found = TankState() if state is None else state, []
    for record in inputs:
        now, outputs = folded(setup, now, record)
        found += outputs
    return now, found


def told(found: Iterable[Output], alarm: str) -> list[AlarmChange]:
    return [o for o in found if isinstance(o, AlarmChange) and o.alarm == alarm]


def at(state: TankState, action: AlarmAction, alarm: str, time_s: float) -> TankState:
    command = AlarmCommand(time_s, "t", alarm, action, 60.0 if action == "shelve" else None)
    return folded(SETUP, state, command)[0]


@pytest.mark.parametrize(
    ("alarm", "given"), [("ph", {"ph": 9.4}), ("temperature", {"warmth_c": 32.0})]
)
def test_a_value_outside_its_limits_raises_after_the_delay(
    alarm: str, given: dict[str, float]
) -> None:
    _, found = run(readings(0.5, **given))
    (hours,) = raised(found, alarm)
    assert hours * HOUR_S == pytest.approx(DEFINITIONS[alarm].on_delay_s, abs=40.0)


def test_announced_work_on_a_probe_suppresses_what_it_makes_meaningless() -> None:
    work = Service(ZERO_S + 1.0, "t", "probe")
    _, found = run([work, *readings(1.5, ph=9.9, from_s=ZERO_S + 20.0)])
    states = [(c.state, c.active) for c in told(found, "ph")]
    assert states[0] == ("suppressed-by-design", False)
    assert "probe work was announced" in told(found, "ph")[0].message
    assert states[-1] == ("unacknowledged", True)  # it still holds when the hour is over
    assert raised(found, "ph") == [pytest.approx(1.0, abs=0.02)]


def test_silence_never_suppresses() -> None:
    quiet = [r for r in readings(1.0) if isinstance(r, Reading) and r.quantity == "orp"]
    _, found = run(quiet)
    assert all(c.state != "suppressed-by-design" for c in found if isinstance(c, AlarmChange))
    assert raised(found, "probe-lost")


def test_what_is_not_known_is_told_as_a_field() -> None:
    orp = [r for r in readings(0.3) if isinstance(r, Reading) and r.quantity == "orp"]
    _, found = run(orp)
    for alarm in ("ph", "temperature", "free-ammonia", "free-ammonia-forecast"):
        assert [c.known for c in told(found, alarm)] == [False]


def test_a_dose_for_many_tanks_is_an_excess_and_the_unknown_is_unknown() -> None:
    dose = Dose(ZERO_S + 3600.0, "t", 20.0)  # 800 mg for 100 L: 8 mg/L; the source has at most 3
    _, found = run(merged(readings(4.0), [dose]))
    assert raised(found, "neutraliser-excess") == [pytest.approx(1.0, abs=0.02)]
    assert told(found, "neutraliser-excess")[-1].active is False  # used up after some hours
    unknown = Refill(ZERO_S + 600.0, "t", "replace", litres=10.0)
    _, found = run(merged(readings(0.5), [unknown]))
    assert [c.known for c in told(found, "neutraliser-excess")] == [False]


def test_a_cold_refill_is_a_shock_and_came_first() -> None:
    said = Refill(ZERO_S + 2 * HOUR_S, "t", "replace", 40.0, 10.0, 5.0)
    inputs = merged(story(4, [pour(2, 0.4, raw("chloramine", 2.0))]), [said])
    _, found = run(inputs)
    assert raised(found, "refill-shock")
    firsts = {c.alarm for c in found if isinstance(c, AlarmChange) and c.first_out}
    rises = [
        (c.time_s, c.alarm)
        for c in found
        if isinstance(c, AlarmChange) and c.active and c.time_s > said.time_s
    ]
    assert firsts == {min(rises)[1]}


def test_water_that_runs_on_after_the_announced_minutes_is_told() -> None:
    said = Refill(ZERO_S + 2 * HOUR_S, "t", "add", 10.0, 5.0, 2.0, "tap")
    for minutes, holds in ((5.0, False), (60.0, True)):
        inflow = pour(2, 0.1 * minutes / 5.0 * 0.5, raw("chloramine", 0.1), minutes)
        _, found = run(merged(story(4, [inflow]), [said]))
        assert bool(raised(found, "refill-running-on")) is holds


def test_a_probe_that_stands_still_and_one_that_shows_nonsense_are_told() -> None:
    still = [Reading(ZERO_S + 60.0 * n, "t", "orp", 300.0) for n in range(200)]
    _, found = run(still)
    assert raised(found, "probe-stuck") == [pytest.approx(3.0, abs=0.05)]
    _, found = run(readings(0.2, ph=13.2))
    assert raised(found, "probe-implausible")
    assert not told(found, "ph")[-1].known


def test_a_probe_is_due_after_months_and_no_more_when_it_was_calibrated() -> None:
    state, _ = run(readings(0.1))
    later_s = ZERO_S + 61 * DAY_S
    state, found = run(readings(0.1, from_s=later_s), state)
    assert [c.message for c in told(found, "calibration-due")] == ["due: ph"]
    state, _ = run([Calibration(later_s + 1000.0, "t", "ph", slope=58.1)], state)
    _, found = run(readings(0.1, from_s=later_s + 1020.0), state)
    assert [c.active for c in told(found, "calibration-due")] == [False]


def test_the_machine_is_unknown_until_it_is_told_of() -> None:
    state, found = run(readings(0.1))
    assert [c.known for c in told(found, "power-low")] == [False]
    low = MachineState(ZERO_S + 400.0, "t", "power-low", True, "the supply voltage is too low now")
    state, found = run([low], state)
    assert [(c.state, c.message) for c in told(found, "power-low")] == [
        ("unacknowledged", "the supply voltage is too low now")
    ]
    _, found = run([replace(low, time_s=ZERO_S + 500.0, holds=False)], state)
    assert [(c.state, c.active) for c in told(found, "power-low")] == [("unacknowledged", False)]


@pytest.mark.parametrize(
    "actions",
    [[], ["acknowledge"], ["shelve"], ["out-of-service"], ["shelve", "unshelve"],
     ["out-of-service", "return-to-service"], ["suppress"]],
    ids="+".join,
)  # fmt: skip
@pytest.mark.parametrize("back", [False, True], ids=["holding", "returned"])
def test_a_restart_in_the_middle_of_each_state_changes_nothing(
    actions: list[AlarmAction | Literal["suppress"]], back: bool
) -> None:
    """The alarm on pH is brought into the state, the tank restarted, and both go on alike."""
    time_s = ZERO_S + 0.4 * HOUR_S
    state, _ = run(readings(0.1 if "suppress" in actions else 0.4, ph=9.4))
    if back:
        state, _ = run(readings(0.4, from_s=time_s), state)
        time_s += 0.4 * HOUR_S
    for number, action in enumerate(actions):
        moment_s = time_s + 0.001 * (number + 1)
        record: Input = Service(moment_s, "t", "probe")
        if action != "suppress":
            minutes = 60.0 if action == "shelve" else None
            record = AlarmCommand(moment_s, "t", "ph", action, minutes)
        state, _ = folded(SETUP, state, record)
    again = from_bytes(to_bytes(state))
    rest = readings(1.5, ph=9.4, from_s=time_s + 20.0)
    gone_on, found = run(rest, state)
    restarted, found_again = run(rest, again)
    assert found_again == found
    assert to_bytes(restarted) == to_bytes(gone_on)


def test_the_panel_skips_only_steps_in_which_nothing_would_change() -> None:
    inputs = merged(
        story(3, [pour(1, 0.3, raw("chloramine", 2.0))]),
        [
            Refill(ZERO_S + HOUR_S, "t", "replace", 30.0, 10.0, 0.0),
            AlarmCommand(ZERO_S + 1.5 * HOUR_S, "t", "residual-oxidant", "shelve", 20.0),
            Service(ZERO_S + 2 * HOUR_S, "t", "cleaning"),
        ],
    )
    plain, found = run(inputs)
    state, eager = TankState(), []
    for record in sorted(inputs, key=known_since_s):
        forgetful = replace(state.alarms, conditions={"": None})
        state, outputs = folded(SETUP, state._replace(alarms=forgetful), record)
        eager += outputs
    assert eager == found
    assert state.alarms.statuses == plain.alarms.statuses
