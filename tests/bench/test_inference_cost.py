"""The inference keeps its budget of time and size, with room for a slower or busier machine."""

import pytest

from bench.inference_cost import (
    CORE_BAR,
    SNAPSHOT_BAR_KB,
    Cost,
    hundred_tanks,
    reference_cost,
    step_costs,
)

_BUSY = 3.0  # test machines share their cores with other work


@pytest.fixture(scope="module")
def steps() -> dict[str, Cost]:
    return {cost.name: cost for cost in step_costs(repeats=1)}


def test_a_step_costs_no_more_than_its_bar_on_a_busy_machine(steps: dict[str, Cost]) -> None:
    assert steps["one step, quiet"].value < _BUSY * 250.0
    assert steps["one step, under watch"].value < _BUSY * 250.0


def test_a_snapshot_keeps_within_256_kb(steps: dict[str, Cost]) -> None:
    assert steps["snapshot, largest"].value <= SNAPSHOT_BAR_KB


def test_a_hundred_tanks_at_1_hz_take_less_than_half_a_core() -> None:
    assert all(cost.value < CORE_BAR for cost in hundred_tanks(minutes=10.0))


def test_a_step_under_watch_costs_less_than_three_unscented_filters_of_filterpy(
    steps: dict[str, Cost],
) -> None:
    three = reference_cost(repeats=1)[-1]
    assert steps["one step, under watch"].value < 1.5 * three.value
