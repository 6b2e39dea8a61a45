"""Words about water that is under watch already: they amend its watch and begin no other."""

from collections.abc import Iterable
from dataclasses import replace

import pytest

from afterfill.records import AlarmChange, Input, KitResult, Output, Refill, RefillSeen
from afterfill.tank import TankState
from afterfill.tank_conditions import surplus_mg_l
from tank_stories import (
    HOUR_S,
    ZERO_S,
    after,
    config_of,
    found_in,
    merged,
    pour,
    raised,
    raw,
    refill,
    setup_of,
    story,
    treated,
    verdicts,
)

SETUP = setup_of(config_of("chlorine", 2.0))
POURED = pour(1, 0.25, raw("chlorine", 2.0))
ONCE = refill(1, litres=25, minutes=10, neutraliser_ml=0)


def run(inputs: Iterable[Input]) -> tuple[TankState, list[Output]]:
    return after(SETUP, inputs)


def repeated(said: Refill, every_s: float, times: int) -> list[Refill]:
    """The same word, once more each `every_s` [s]."""
    return [replace(said, time_s=said.time_s + number * every_s) for number in range(times)]


def seen(found: Iterable[Output]) -> list[RefillSeen]:
    return [o for o in found if isinstance(o, RefillSeen)]


@pytest.mark.parametrize("every_s", [20.0, 60.0, 240.0])
@pytest.mark.parametrize("said", [ONCE, refill(1)], ids=["all-said", "nothing-said"])
def test_an_automation_that_repeats_itself_hides_no_carry_over(
    every_s: float, said: Refill
) -> None:
    water = story(2, [POURED])
    _, once = run(merged(water, [said]))
    _, again = run(merged(water, repeated(said, every_s, round(600.0 / every_s))))
    assert len(seen(again)) == 1
    assert raised(again, "residual-oxidant") == raised(once, "residual-oxidant") != []
    assert [(v.time_s, v.verdict) for v in verdicts(again)] == [
        (v.time_s, v.verdict) for v in verdicts(once)
    ]


def test_repeating_books_neutraliser_and_ammonia_once() -> None:
    said = refill(1, litres=25, minutes=10, neutraliser_ml=10)
    water = story(1.1, [pour(1, 0.25, treated())])
    once, _ = run(merged(water, [said]))
    again, _ = run(merged(water, repeated(said, 30.0, 10)))
    now_s = ZERO_S + 1.1 * HOUR_S
    assert surplus_mg_l(SETUP, again, now_s) == surplus_mg_l(SETUP, once, now_s)
    assert (again.belief.ammonia.total == once.belief.ammonia.total).all()


def test_a_later_word_amends_what_was_said() -> None:
    """Told first that water comes, then how much and with what: as if told at once."""
    water = story(1.2, [pour(1, 0.25, treated())])
    full = refill(1, litres=25, minutes=10, neutraliser_ml=5)
    later = replace(full, time_s=full.time_s + 60.0)
    amended, found = run(merged(water, [refill(1), later]))
    at_once, _ = run(merged(water, [full]))
    watching, plain = amended.belief.watch, at_once.belief.watch
    assert watching is not None
    assert plain is not None
    assert watching.pour == plain.pour
    assert watching.p_ever == pytest.approx(plain.p_ever, abs=0.02)
    assert len(seen(found)) == 1
    now_s = ZERO_S + 1.2 * HOUR_S
    assert surplus_mg_l(SETUP, amended, now_s) == pytest.approx(
        surplus_mg_l(SETUP, at_once, now_s), rel=0.01
    )


def test_water_after_the_pour_has_ended_is_new_water() -> None:
    second = replace(ONCE, time_s=ONCE.time_s + 0.5 * HOUR_S)
    _, found = run(merged(story(2, [POURED]), [ONCE, second]))
    assert len(seen(found)) == 2
    assert len({v.refill_time_s for v in verdicts(found)}) == 2


def test_water_of_another_source_is_new_water() -> None:
    config = config_of("chlorine", 2.0)
    two = setup_of(config.model_validate({
        **config.model_dump(by_alias=True, exclude_unset=True),
        "source": {
            "tap": {"disinfectant": "chlorine", "residual_mg_l": 2.0},
            "rain": {"disinfectant": "chlorine", "residual_mg_l": 0.0},
        },
    }))  # fmt: skip
    first, other = refill(1, source="tap"), refill(1.02, source="rain")
    assert len(seen(found_in(two, merged(story(1.5, []), [first, other])))) == 2


def changes(found: Iterable[Output], alarm: str) -> list[AlarmChange]:
    return [o for o in found if isinstance(o, AlarmChange) and o.alarm == alarm]


@pytest.mark.parametrize("late_h", [0.1, 0.4, 4.0])
def test_logging_the_refill_that_was_suspected_makes_it_that_refill(late_h: float) -> None:
    water = story(6, [pour(1, 0.3, raw("chlorine", 1.0))])
    logged = refill(
        1, litres=30, minutes=10, neutraliser_ml=0, logged_s=ZERO_S + (1 + late_h) * HOUR_S
    )
    _, found = run(merged(water, [logged]))
    (report,) = seen(found)
    assert report.origin == "inferred"
    told = verdicts(found)
    assert len({v.refill_time_s for v in told}) == 1
    assert sum(v.final for v in told) <= 1
    asked = changes(found, "refill-unannounced")
    assert "unacknowledged" in [c.state for c in asked]
    assert asked[-1].state in ("acknowledged", "normal")
    assert "the refill was logged" in "".join(c.message for c in asked)


def test_what_a_kit_said_of_the_suspected_water_outlasts_the_log() -> None:
    water = story(2, [pour(1, 0.3, raw("chlorine", 1.0))])
    kit = KitResult(ZERO_S + 1.3 * HOUR_S, "t", total_chlorine_mg_l=0.25)
    logged = refill(1, litres=30, minutes=10, logged_s=ZERO_S + 1.5 * HOUR_S)
    state, _ = run(merged(water, [kit, logged]))
    assert state.belief.watch is not None
    particles = state.belief.watch.particles
    assert particles.residual @ particles.weights > 0.02
