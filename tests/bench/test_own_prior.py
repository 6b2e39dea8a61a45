"""Truths of the filter's own prior: drawn independently, seen with errors as the model has them."""

import numpy as np
import pytest
from scipy import stats

from afterfill.inference.filter import streams
from afterfill.inference.model import disturbance, parameters, priors
from afterfill.inference.model.hypotheses import N
from afterfill.inference.model.observations import as_read
from afterfill.inference.model.particles import IN_COMBINED, IN_FREE, START_S, TAP_Z
from afterfill.tank import folded
from bench.own_prior import Errors, drawn, independent_draws, student_4
from bench.ranks import evenness
from bench.simulation_based_calibration import QUANTITIES, Ranked, figure_of, printed, ranked
from particle_sets import WATER, announced, start_of


def test_one_stream_gives_the_same_draws_again_and_no_fixed_ones() -> None:
    fixed = disturbance.falls_s(50)
    with independent_draws(np.random.default_rng(1)):
        first, again = disturbance.falls_s(50), disturbance.falls_s(50)
    with independent_draws(np.random.default_rng(2)):
        later = disturbance.falls_s(50)
    assert np.array_equal(first, again)
    assert not np.any(first == later)
    assert not np.any(first == fixed)
    assert np.array_equal(disturbance.falls_s(50), fixed)


def test_what_reads_a_stream_in_two_places_gets_one_draw() -> None:
    start = start_of(announced(litres=25.0))
    with independent_draws(np.random.default_rng(1)):
        theta = parameters.from_prior(start, 200)
    tap = theta[IN_FREE] + theta[IN_COMBINED]
    sigma = parameters.tap_sigma(WATER)
    expected = WATER.residual_mg_l * np.exp(sigma * theta[TAP_Z])
    assert tap == pytest.approx(expected)
    assert abs(np.corrcoef(theta[TAP_Z], theta[START_S])[0, 1]) < 0.25


def test_a_draw_leaves_nothing_behind_in_the_filter() -> None:
    tank = drawn(3, 0.1)
    read = as_read(np.ones(N)).copy()
    before = folded(tank.asked.setup, tank.state, tank.asked.refill)[0].belief.watch
    drawn(4, 0.1)
    after = folded(tank.asked.setup, tank.state, tank.asked.refill)[0].belief.watch
    assert before is not None
    assert after is not None
    assert np.array_equal(before.particles.parameters, after.particles.parameters)
    assert np.array_equal(read, as_read(np.ones(N)))
    expected = streams.log_normal(N, "law", 1.0, priors.LAW_SIGMA)
    assert np.array_equal(read, expected)


@pytest.mark.parametrize("z", [-4.0, -1.0, -1e-9, 0.0, 0.5, 2.0, 5.0])
def test_normal_scores_become_those_of_student(z: float) -> None:
    assert student_4(z) == pytest.approx(stats.t.ppf(stats.norm.cdf(z), 4), rel=1e-6, abs=1e-7)


@pytest.mark.parametrize("step_s", [20.0, 60.0])
def test_so_many_errors_are_independent_as_the_tempering_says(step_s: float) -> None:
    # The mean over a day of normal scores, of which one in 180 s is independent.
    random, number = np.random.default_rng(5), int(86_400 / step_s)
    means = []
    for _ in range(60):
        errors = Errors(random)
        means.append(np.mean([(errors.after(step_s, 180.0), errors.z)[1] for _ in range(number)]))
    assert np.var(means) == pytest.approx(180.0 / 86_400.0, rel=0.5)


def test_a_tank_comes_out_the_same_each_time_and_no_two_alike() -> None:
    first, again, other = drawn(5, 0.5), drawn(5, 0.5), drawn(6, 0.5)
    assert first.inputs == again.inputs
    assert np.array_equal(first.true, again.true)
    assert first.inputs != other.inputs


def test_ranks_of_a_prior_among_itself_are_even() -> None:
    found = [ranked(seed, "nothing") for seed in range(40)]
    for name in QUANTITIES:
        assert evenness([one.ranks[name] for one in found]).p > 0.005, name


def test_the_row_is_of_the_worst_quantity() -> None:
    even = (np.arange(100) + 0.5) / 100.0
    found = [Ranked(n, dict.fromkeys(QUANTITIES, float(u))) for n, u in enumerate(even)]
    assert figure_of(found).mark == "met goal"
    for one in found:
        one.ranks[QUANTITIES[2]] **= 3.0
    worse = figure_of(found)
    assert worse.mark == "below bar"
    assert QUANTITIES[2] in worse.note
    assert "outside 99 %" in printed(found)
