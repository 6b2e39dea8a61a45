"""The fold remembers what it said of the water until a test kit answers it."""

import math
from typing import Any

import numpy as np
import pytest

from afterfill.records import Dose, Event, ForecastCheck, KitResult, Output
from afterfill.tank import TankState, folded
from afterfill.tank_forecasts import LEADS_H
from afterfill.tank_snapshot import from_bytes, to_bytes
from tank_stories import (
    HOUR_S,
    ZERO_S,
    after,
    config_of,
    estimates,
    found_in,
    merged,
    pour,
    raw,
    refill,
    setup_of,
    story,
)

SETUP = setup_of(config_of())
READINGS = story(8, [pour(7, 0.25, raw("chloramine", 2.0))])
POURED = refill(7, litres=25, minutes=10, neutraliser_ml=0)


def kit(at_h: float, logged_h: float | None = None, **shown: Any) -> KitResult:
    logged_s = None if logged_h is None else ZERO_S + logged_h * HOUR_S
    given = shown or {"total_chlorine_mg_l": 0.0}
    return KitResult(ZERO_S + at_h * HOUR_S, "t", logged_s=logged_s, **given)


def told(found: list[Output]) -> list[ForecastCheck]:
    return [output for output in found if isinstance(output, ForecastCheck)]


def answered(*events: Event) -> list[ForecastCheck]:
    return told(found_in(SETUP, merged(READINGS, events)))


def test_a_test_answers_what_was_said_of_that_moment_and_before() -> None:
    found = answered(kit(6.55))
    assert [record.lead_h for record in found] == [0.0, 1.0, 6.0]  # nothing was said a day ago
    assert {(record.time_s, record.kit_s) for record in found} == {(ZERO_S + 6.55 * HOUR_S,) * 2}
    said_h = [(record.kit_s - record.said_s) / HOUR_S for record in found]
    assert all(abs(h - lead) <= 0.5 for h, lead in zip(said_h, LEADS_H, strict=False))


def test_it_is_what_the_estimate_just_before_said() -> None:
    """Not what is believed once the kit has been heard."""
    inputs = merged(READINGS, [POURED, kit(7.505, total_chlorine_mg_l=2.0)])
    found = found_in(SETUP, inputs, every_s=10.0)
    (now, *_) = told(found)
    before = [it for it in estimates(found) if it.time_s <= now.time_s][-1]
    assert now.residual_mg_l == before.residual_mg_l
    assert now.total_ammonia_mg_l == before.total_ammonia_mg_l
    assert (now.p_over_limit, now.sees) == (before.p_over_limit, before.sees)
    assert now.kit_total_chlorine_mg_l == 2.0
    assert now.limit_mg_l == SETUP.inference.limit_mg_l


@pytest.mark.parametrize("again_h", [6.5, 6.9], ids=["typed twice", "tested twice"])
def test_a_test_that_is_typed_or_made_twice_is_one_record(again_h: float) -> None:
    again = kit(again_h, logged_h=6.95)
    assert [record.kit_s for record in answered(kit(6.5), again) if record.lead_h == 0.0] == [
        ZERO_S + 6.5 * HOUR_S
    ]


def test_another_kind_of_test_beside_it_is_one_more_record() -> None:
    found = answered(kit(6.5), kit(6.6, total_ammonia_mg_l=0.25), kit(7.9))
    assert [record.lead_h for record in found].count(0.0) == 3


def test_a_late_word_is_held_against_what_was_said_of_that_hour() -> None:
    (now,) = [r for r in answered(kit(4.5, logged_h=7.9)) if r.lead_h == 0.0]
    assert now.kit_s == ZERO_S + 4.5 * HOUR_S
    assert now.said_s == ZERO_S + 4 * HOUR_S
    assert now.residual_mg_l.q50 == 0.0


@pytest.mark.parametrize("event", [POURED, Dose(ZERO_S + 7 * HOUR_S, "t", 2.0)])
def test_a_forecast_that_water_or_neutraliser_overtook_is_not_asked(event: Event) -> None:
    found = answered(event, kit(7.4))
    assert [record.lead_h for record in found] == [0.0]


def test_a_test_of_the_water_before_a_refill_is_not_held_against_that_after() -> None:
    (now, *_) = answered(POURED, kit(6.95, logged_h=7.15))
    assert now.said_s <= ZERO_S + 7 * HOUR_S
    assert now.p_over_limit is not None
    assert now.p_over_limit < 0.05


@pytest.mark.parametrize(
    "event",
    [kit(0.0), kit(3.0, ph=7.2)],
    ids=["before anything was said", "of what is not forecast"],
)
def test_what_answers_nothing_is_no_record(event: KitResult) -> None:
    assert answered(event) == []


def test_a_tank_that_was_never_read_has_said_nothing() -> None:
    assert folded(SETUP, TankState(), kit(0.0))[1] == []


def test_a_test_of_ammonia_alone_is_one_answer() -> None:
    (now, *_) = answered(kit(6.5, total_ammonia_mg_l=0.5))
    assert now.kit_total_ammonia_mg_l == 0.5
    assert now.kit_total_chlorine_mg_l is None


def test_what_is_remembered_is_a_day_and_survives_a_snapshot() -> None:
    state, _ = after(SETUP, story(30, every_s=60.0))
    rows = state.forecasts.rows
    assert 24 <= len(rows) <= 26
    assert np.all(np.diff(rows[:, 0]) > 0)
    again = from_bytes(to_bytes(state))
    assert to_bytes(again) == to_bytes(state)
    assert np.array_equal(again.forecasts.rows, rows)
    assert not math.isnan(float(rows.sum()))


def test_a_restart_in_between_gives_the_same_answers() -> None:
    inputs = merged(READINGS, [POURED, kit(6.9), kit(7.9)])
    state, stopped = TankState(), list[Output]()
    for record in inputs:
        if isinstance(record, KitResult):
            state = from_bytes(to_bytes(state))
        state, outputs = folded(SETUP, state, record)
        stopped += outputs
    straight = found_in(SETUP, inputs)
    assert told(stopped) == told(straight)
    assert len(told(straight)) == 5
