"""Alarms carry the dose for this tank, from its rescue plan; obeying it raises no alarm."""

import re

import pytest

from afterfill.config import Config
from afterfill.records import (
    AlarmChange,
    Dose,
    Estimate,
    Input,
    KitResult,
    Output,
    Quantity,
    Reading,
    known_since_s,
)
from afterfill.tank import TankState, folded
from afterfill.tank_setup import TankSetup, tank_setup
from afterfill.wire import to_published
from tank_stories import (
    HOUR_S,
    ZERO_S,
    after,
    config_of,
    merged,
    pour,
    raised,
    raw,
    refill,
    setup_of,
    story,
)

OXIDANT, EXCESS = "residual-oxidant", "neutraliser-excess"
STRONG, WEAK = {"mg_cl2_per_ml": 40}, {"agent": "ascorbate", "mg_cl2_per_ml": 20}


def with_bottles(**bottles: dict[str, object]) -> TankSetup:
    document = config_of().model_dump(mode="json", exclude_unset=True)
    return tank_setup(Config.model_validate({**document, "neutraliser": bottles}), "t")


def carried_over() -> list[Input]:
    """A third of the tank refilled with raw water at 2 h, and what its probes show until 3 h."""
    water = raw("chloramine", 2.0)
    readings = story(3.0, [pour(2.0, 0.33, water)])
    return merged(readings, [refill(2.0, litres=33.0, minutes=10.0)])


def until_raised(setup: TankSetup) -> tuple[TankState, AlarmChange, Estimate, list[Input]]:
    """The tank as the alarm is raised, what it said, what was believed, and what came after."""
    state, newest, inputs = TankState(), None, carried_over()
    for number, record in enumerate(inputs):
        state, outputs = folded(setup, state, record, 20.0)
        told = [o for o in outputs if isinstance(o, AlarmChange) and o.alarm == OXIDANT]
        newest = next((o for o in outputs if isinstance(o, Estimate)), newest)
        if told and told[0].active:
            assert newest is not None
            return state, told[0], newest, inputs[number + 1 :]
    raise AssertionError("the alarm was not raised")


def millilitres(advice: str) -> float:
    found = re.match(r"put ([0-9.]+) mL of", advice)
    assert found is not None, advice
    return float(found[1])


def test_the_alarm_carries_the_dose_for_this_tank_and_its_caution() -> None:
    _, told, believed, _ = until_raised(setup_of(config_of()))
    low, middle, high = believed.residual_mg_l
    # by hand: 99 % point of the log-normal through the median and the 95 % point (2.326/1.645), at
    # most the 3 mg/L that the source may hold, x 1.5 x 100 L / 40 mg per mL, rounded up to a tenth
    upper = max(min(middle * (high / middle) ** (2.326 / 1.645), 3.0), high)
    ml = millilitres(told.advice)
    assert upper * 1.5 * 100.0 / 40.0 == pytest.approx(ml - 0.05, abs=0.06)
    assert low < upper
    assert "of n (thiosulfate) into the whole tank's 100 L, all of it at once" in told.advice
    assert "Give no more, and no second product, before DPD total chlorine was tested 10 min" in (
        told.advice
    )
    assert "Aerate strongly" in told.advice
    assert f"`afterfill log dose --neutraliser-ml {ml:g}`" in told.advice
    assert "US EPA 1984, one hour, secondary" in told.message
    assert to_published(told)["advice"] == told.advice  # what the broker is told, retained


def test_once_the_dose_is_logged_the_alarm_asks_for_no_second_one() -> None:
    setup = setup_of(config_of())
    state, told, _, rest = until_raised(setup)
    ml = millilitres(told.advice)
    state, outputs = folded(setup, state, Dose(told.time_s + 60.0, "t", ml))
    (again,) = (o for o in outputs if isinstance(o, AlarmChange) and o.alarm == OXIDANT)
    assert again.active
    assert again.advice.startswith(f"{ml:g} mL of neutraliser are logged as given: give no more")
    found: list[Output] = []
    for record in rest:
        if record.time_s > told.time_s + 60.0:
            state, outputs = folded(setup, state, record)
            found += outputs
    assert not raised(found, EXCESS)
    pink = KitResult(rest[-1].time_s + 5.0, "t", total_chlorine_mg_l=0.5)
    state, outputs = folded(setup, state, pink)
    doses = [o.advice for o in outputs if isinstance(o, AlarmChange) and o.active and o.advice]
    assert not [advice for advice in doses if "logged as given" in advice]


def test_a_dose_that_came_before_the_water_does_not_silence_the_one_that_is_needed() -> None:
    setup = setup_of(config_of())
    early: Input = Dose(ZERO_S + 1.9 * HOUR_S, "t", 0.2)  # 8 mg, of the 66 that the water brings
    _, found = after(setup, sorted([early, *carried_over()], key=known_since_s), 20.0)
    changes = [o for o in found if isinstance(o, AlarmChange) and o.alarm == OXIDANT]
    named = [change.advice for change in changes if change.active]
    assert named[0].startswith("put ")


def test_the_dose_grows_with_what_is_believed_while_no_one_has_dosed() -> None:
    _, found = after(setup_of(config_of()), carried_over(), 20.0)
    told: float | None = None
    checked = 0
    for output in found:
        if isinstance(output, AlarmChange) and output.alarm == OXIDANT:
            put = re.match(r"put ([0-9.]+) mL", output.advice)
            told = float(put[1]) if put else None
        if isinstance(output, Estimate) and told is not None:
            _, middle, high = output.residual_mg_l
            upper = max(min(middle * (high / max(middle, 1e-9)) ** (2.326 / 1.645), 3.0), high)
            checked += 1
            assert told >= upper * 100.0 / 40.0  # the nominal need, whatever came after
    assert checked > 30


@pytest.mark.parametrize(
    ("bottles", "words"),
    [
        ({}, "how much cannot be told: no neutraliser of known strength is configured"),
        ({"weak": WEAK}, "Ascorbate may not remove chloramine"),
        ({"one": STRONG, "two": WEAK}, "of two (ascorbate), one of them and never both"),
        ({"one": {**STRONG, "binds_ammonia": True}}, "Do not count on it to bind ammonia"),
    ],
)
def test_what_is_at_hand_decides_what_is_said(
    bottles: dict[str, dict[str, object]], words: str
) -> None:
    _, told, _, _ = until_raised(with_bottles(**bottles))
    assert words in told.advice
    assert bool(re.search(r"put [0-9.]+ mL", told.advice)) == bool(bottles)


def test_an_alarm_that_is_no_matter_of_chlorine_carries_no_amount() -> None:
    shown: dict[Quantity, float] = {"temperature": 25.0, "ph": 9.4, "orp": 300.0}
    hot: list[Input] = [
        Reading(ZERO_S + 20.0 * n, "t", quantity, value + 0.2 * (n % 7) * (quantity == "orp"))
        for n in range(180)
        for quantity, value in shown.items()
    ]
    kit: Input = KitResult(ZERO_S + 600.0, "t", total_ammonia_mg_l=2.0)
    _, found = after(setup_of(config_of()), [*hot[:90], kit, *hot[90:]])
    advice = {o.alarm: o.advice for o in found if isinstance(o, AlarmChange) and o.active}
    assert advice["ph"] == ""
    assert advice["free-ammonia"].startswith("no neutraliser: it takes chlorine away, not ammonia")


@pytest.mark.parametrize("shown_mg_l", [0.1, 0.5, 1.0, 2.0, 4.0])
@pytest.mark.parametrize("tap_mg_l", [0.5, 2.0])
def test_a_rescue_by_a_test_raises_no_excess_when_it_is_obeyed(
    shown_mg_l: float, tap_mg_l: float
) -> None:
    setup = setup_of(config_of(tap_mg_l=tap_mg_l))
    # by hand: the kit's 0.03 mg/L and 20 % (constants.DPD_KIT), its 99 % point, x 1.5
    upper = shown_mg_l + 2.326 * (0.03**2 + (0.2 * shown_mg_l) ** 2) ** 0.5
    ml = round(upper * 1.5 * 100.0 / 40.0 * 1.05, 1)
    at_s = ZERO_S + HOUR_S
    events: list[KitResult | Dose] = [
        KitResult(at_s, "t", total_chlorine_mg_l=shown_mg_l),
        Dose(at_s + 120.0, "t", ml),
    ]
    _, found = after(setup, merged(story(2.0), events))
    assert not raised(found, EXCESS)


def test_a_dose_that_meets_nothing_is_still_an_excess() -> None:
    dose = Dose(ZERO_S + HOUR_S, "t", 20.0)
    _, found = after(setup_of(config_of()), merged(story(1.5), [dose]))
    assert raised(found, EXCESS)
    (advice,) = {
        o.advice for o in found if isinstance(o, AlarmChange) and o.alarm == EXCESS and o.active
    }
    assert advice.startswith("none: more than enough is logged")
