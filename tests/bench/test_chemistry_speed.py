"""The chemistry keeps its budget of time on the machine that runs the tests."""

import pytest

from bench.chemistry_speed import fractions, kinetics, others, table


def test_kinetics_cost_at_most_five_ms_per_simulated_day() -> None:
    ours, *scipy = kinetics()
    assert ours.ms <= 5.0, table("kinetics", [ours, *scipy])
    assert ours.error_mg_l is not None
    assert ours.error_mg_l < 1e-3


def test_kinetics_are_faster_than_the_implicit_methods_of_scipy_at_equal_accuracy() -> None:
    ours, *scipy = kinetics()
    slower = [row.what for row in scipy if row.ms > ours.ms]
    assert any("BDF" in what for what in slower)
    assert any("Radau" in what for what in slower)


def test_a_share_costs_a_tenth_of_a_phreeqc_call_or_less() -> None:
    rows = fractions()
    phreeqc = rows[-1].ms
    assert all(row.ms < phreeqc / 10.0 for row in rows[:-1]), table("shares", rows)


@pytest.mark.parametrize(("index", "ms"), [(0, 0.1), (1, 10.0)], ids=["binding", "mixture"])
def test_what_runs_often_is_cheap(index: int, ms: float) -> None:
    assert others()[index].ms < ms
