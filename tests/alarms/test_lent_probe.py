"""A probe that is out of the tank, through the fold: cups are not taken for the tank's water."""

from collections.abc import Iterable
from dataclasses import replace

import pytest

from afterfill.inference.conditions import ph_at, temperature_at
from afterfill.records import (
    AlarmChange,
    Estimate,
    Input,
    Output,
    Quantity,
    Reading,
    Refill,
    Service,
)
from afterfill.tank import TankState, folded
from afterfill.tank_lending import any_lent
from afterfill.tank_snapshot import from_bytes, to_bytes
from tank_stories import ZERO_S, config_of, setup_of

SETUP = setup_of(config_of())
TRUE: dict[Quantity, float] = {"temperature": 25.0, "ph": 7.2, "orp": 300.0}


def readings(from_s: float, minutes: float, **cup: float) -> list[Input]:
    """Readings each 20 s of a quiet tank; what is in a cup shows that instead."""
    found: list[Input] = []
    for n in range(int(minutes * 3)):
        for quantity, value in TRUE.items():
            wobble = 0.2 * (n % 7) if quantity == "orp" else 0.001 * (n % 3)
            shown = cup.get(quantity, value + wobble)
            found.append(Reading(from_s + 20.0 * n, "t", quantity, shown, f"t-{quantity}"))
    return found


def run(state: TankState, inputs: Iterable[Input]) -> tuple[TankState, list[Output]]:
    found: list[Output] = []
    for record in inputs:
        state, outputs = folded(SETUP, state, record)
        found += outputs
    return state, found


def quiet() -> tuple[TankState, float]:
    """A tank that has been watched for a good hour, and the time by then."""
    return run(TankState(), readings(ZERO_S, 90.0))[0], ZERO_S + 5400.0


def lending(time_s: float, quantity: Quantity, minutes: float) -> Service:
    return Service(time_s, "t", "probe", quantity=quantity, minutes=minutes)


def held_in_cups(quantity: Quantity, *cups: float) -> list[Input]:
    """Taken out for as long as it takes, 20 min a cup, and put back."""
    _, at_s = quiet()
    done: list[Input] = []
    for cup in cups:
        for _ in range(4):  # lent on while the routine goes on
            done.append(lending(at_s, quantity, 10.0))
            done += readings(at_s + 1.0, 5.0, **{quantity: cup})
            at_s += 300.0
    return [*done, lending(at_s, quantity, 0.0), *readings(at_s + 1.0, 60.0)]


def beliefs(state: TankState) -> bytes:
    """All that is believed, to the byte."""
    return to_bytes(TankState(belief=state.belief))


def asking(found: Iterable[Output]) -> set[str]:
    """The alarms that were raised."""
    return {o.alarm for o in found if isinstance(o, AlarmChange) and o.state == "unacknowledged"}


def test_a_ph_probe_in_buffers_raises_nothing_and_teaches_nothing() -> None:
    before, at_s = quiet()
    told = held_in_cups("ph", 7.0, 4.0, 10.0)
    after, found = run(before, told)
    assert asking(found) == set()
    back_s = at_s + 3600.0 + 300.0  # as if the probe had said nothing until it was believed again
    silent = [r for r in told if not (_of_ph(r) and r.time_s < back_s)]
    assert beliefs(after) == beliefs(run(before, silent)[0])


def _of_ph(record: Input) -> bool:
    return isinstance(record, Reading) and record.quantity == "ph"


def test_the_orp_goes_on_to_be_seen_while_a_ph_probe_is_in_a_cup() -> None:
    before, _ = quiet()
    _, found = run(before, held_in_cups("ph", 7.0, 4.0))
    estimates = [o for o in found if isinstance(o, Estimate)]
    assert len(estimates) > 50
    assert all(estimate.sees for estimate in estimates)


def test_nothing_of_a_cup_is_taken_for_the_tanks_water() -> None:
    before, at_s = quiet()
    state, _ = run(before, [lending(at_s, "ph", 10.0), *readings(at_s + 1.0, 5.0, ph=4.0)])
    assert any_lent(state)
    assert ph_at(state.belief, at_s + 300.0) == pytest.approx(7.2, abs=0.01)
    same, _ = run(
        before, [lending(at_s, "temperature", 10.0), *readings(at_s + 1.0, 5.0, temperature=5.0)]
    )
    assert temperature_at(same.belief, at_s + 300.0) == pytest.approx(25.0, abs=0.01)


def test_it_is_believed_again_when_it_has_settled() -> None:
    before, at_s = quiet()
    out = [lending(at_s, "ph", 10.0), *readings(at_s + 1.0, 5.0, ph=4.0)]
    state, _ = run(before, [*out, lending(at_s + 300.0, "ph", 0.0)])
    state, _ = run(state, readings(at_s + 301.0, 4.0, ph=7.8))
    assert ph_at(state.belief, at_s + 540.0) == pytest.approx(7.2, abs=0.01)
    state, _ = run(state, readings(at_s + 541.0, 3.0, ph=7.8))
    assert ph_at(state.belief, at_s + 721.0) == 7.8


def test_a_routine_that_is_killed_blinds_no_longer_than_it_said() -> None:
    before, at_s = quiet()
    out = [lending(at_s, "ph", 10.0), *readings(at_s + 1.0, 12.0, ph=4.0)]
    state, _ = run(before, out)
    assert not any_lent(state)
    assert ph_at(state.belief, at_s + 720.0) == 4.0
    _, found = run(state, readings(at_s + 721.0, 30.0, ph=4.0))
    assert "ph" in asking(found)


def test_an_orp_probe_in_a_cup_blinds_by_design_and_settles_after_it() -> None:
    before, at_s = quiet()
    state, found = run(before, held_in_cups("orp", 420.0))
    assert asking(found) == set()
    assert state.belief.watch is None
    assert state.belief.learnt == before.belief.learnt
    blind = [o.why_blind for o in found if isinstance(o, Estimate) and not o.sees]
    assert blind[0] == "the ORP probe is out of the tank; settling"
    assert blind[-1] == "the ORP probe was out of the tank; settling"
    state, _ = run(state, readings(at_s + 4801.0, 180.0))
    _, found = run(state, readings(at_s + 15_601.0, 20.0))
    last = [o for o in found if isinstance(o, Estimate)][-1]
    assert last.sees


def test_a_refill_that_is_told_meanwhile_is_still_watched() -> None:
    before, at_s = quiet()
    told: list[Input] = [lending(at_s, "ph", 10.0), Refill(at_s + 5.0, "t", "replace", 25.0, 5.0)]
    state, _ = run(before, [*told, *readings(at_s + 6.0, 5.0, ph=4.0)])
    assert state.belief.watch is not None
    state, found = run(state, readings(at_s + 307.0, 4.0, ph=4.0))
    assert "refill-shock" not in asking(found)


def test_an_alarm_that_asks_already_is_not_silenced_by_lending() -> None:
    before, at_s = quiet()
    sour, found = run(before, readings(at_s, 30.0, ph=9.6))
    assert "ph" in asking(found)
    _, found = run(sour, [lending(at_s + 1801.0, "ph", 10.0)])
    assert not any(isinstance(o, AlarmChange) and o.alarm == "ph" for o in found)


def test_a_restart_in_the_middle_keeps_it() -> None:
    before, at_s = quiet()
    out = [lending(at_s, "ph", 10.0), *readings(at_s + 1.0, 2.0, ph=4.0)]
    state, _ = run(before, out)
    again = from_bytes(to_bytes(state))
    rest = [*readings(at_s + 121.0, 5.0, ph=4.0), lending(at_s + 430.0, "ph", 0.0)]
    assert to_bytes(run(again, rest)[0]) == to_bytes(run(state, rest)[0])
    assert any_lent(again)


def test_work_on_one_probe_leaves_the_others_alone() -> None:
    before, at_s = quiet()
    state, _ = run(before, [Service(at_s, "t", "probe", quantity="ph")])
    assert state.belief == before.belief
    assert state.context.maintained_s["ph"] == at_s
    assert state.context.maintained_s["orp"] == before.context.maintained_s["orp"]
    whole, _ = run(before, [Service(at_s, "t", "probe")])
    assert whole.belief.baseline is None
    assert replace(whole.context, maintained_s={}) == replace(before.context, maintained_s={})
