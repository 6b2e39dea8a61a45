"""The inference keeps its budget of time and size, with room for a slower or busier machine."""

import pytest

from bench.inference_cost import CORE_BAR, Cost, hundred_tanks, step_costs

_BUSY = 1.5  # test machines share their cores and caches with other work


@pytest.fixture(scope="module")
def costs() -> list[Cost]:
    return step_costs(hours=8.0)


def test_each_step_keeps_its_share_of_a_reference_filter(costs: list[Cost]) -> None:
    """User CPU beside filterpy's unscented filter, with estimates and snapshots included. Read
    every 30 s, each reading under watch is a step, and costs twice its bar."""
    shares = [c for c in costs if c.bar and not c.unit]
    over = {c.name: c.value for c in shares if c.value > _allowed(c) * (c.bar or 0.0)}
    assert len(shares) == 4
    assert over == {}


def _allowed(cost: Cost) -> float:
    return _BUSY if "at 10 s" in cost.name else 2.0 * _BUSY


def test_a_snapshot_keeps_within_256_kb(costs: list[Cost]) -> None:
    (snapshot,) = [cost for cost in costs if cost.unit == "kB"]
    assert snapshot.bar is not None
    assert snapshot.value <= snapshot.bar


def test_a_hundred_tanks_at_1_hz_take_less_than_half_a_core() -> None:
    assert all(cost.value < CORE_BAR for cost in hundred_tanks(minutes=10.0))
