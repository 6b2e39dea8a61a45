"""How the water of a particle changes: nothing comes from nothing."""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from afterfill.chemistry.chloramine_binding import binding_rate
from afterfill.inference.filter.streams import Array
from afterfill.inference.model.particles import (
    CAPACITY,
    COMBINED,
    FRACTION,
    FREE,
    IN_COMBINED,
    IN_FREE,
    IN_NEUTRALISER,
    K_COMBINED_PER_S,
    K_FREE_PER_S,
    NEUTRALISER,
    PEAK,
    POUR_S,
    POURED,
    START_S,
    Particles,
)
from afterfill.inference.model.transition import predicted
from particle_sets import announced, of, particles_of, rows_of, run, still


def test_untreated_water_ends_up_as_the_mass_balance_says() -> None:
    fresh = particles_of(announced(litres=25.0, minutes=10.0, neutraliser_ml=0.0))
    nothing = np.zeros(fresh.weights.size)
    bare = fresh.with_rows(
        {K_FREE_PER_S: nothing, K_COMBINED_PER_S: nothing}, {NEUTRALISER: nothing}
    )
    after = run(bare, 0.5)
    # C = C_tap (1 - exp(-f)) for continuous exchange of a share f (stirred-tank balance)
    theta = fresh.parameters
    expected = theta[IN_COMBINED] * (1.0 - np.exp(-theta[FRACTION]))
    assert np.allclose(after.state[COMBINED], expected, rtol=0.02, atol=1e-9)


def test_the_poured_share_is_the_share_that_was_said() -> None:
    after = run(particles_of(announced(litres=25.0, minutes=10.0)), 0.5)
    assert np.allclose(after.state[POURED], after.parameters[FRACTION], rtol=1e-9)
    assert np.median(after.state[POURED]) == pytest.approx(0.25, rel=0.02)


def test_well_dosed_water_carries_nothing_over_and_a_short_dose_does() -> None:
    after = run(particles_of(announced(litres=25.0, minutes=10.0, neutraliser_ml=5.0)), 0.5)
    assert np.max(after.state[PEAK, of("dosed")]) < 0.011
    assert np.min(after.state[PEAK, of("short")]) > 0.0


def test_decay_is_that_of_a_numerical_solution() -> None:
    fresh = particles_of(announced(litres=25.0, minutes=10.0, neutraliser_ml=0.0))
    after = run(fresh, 1.0, step_s=10.0)
    short, theta = rows_of("short"), fresh.parameters
    one = short.start + int(np.argmax(theta[K_COMBINED_PER_S, short]))
    k, rate = theta[K_COMBINED_PER_S, one], theta[FRACTION, one] / theta[POUR_S, one]
    begin_s, end_s = theta[START_S, one], theta[START_S, one] + theta[POUR_S, one]

    def slope(time_s: float, combined: np.ndarray) -> np.ndarray:
        pouring = rate if begin_s <= time_s <= end_s else 0.0
        return np.asarray(pouring * (theta[IN_COMBINED, one] - combined) - k * combined)

    exact = solve_ivp(slope, (-600.0, 3600.0), [0.0], max_step=10.0, rtol=1e-8)
    assert after.state[COMBINED, one] == pytest.approx(exact.y[0, -1], rel=0.02)


def test_neutraliser_and_chlorine_do_not_last_together() -> None:
    fresh = particles_of(announced(litres=25.0))
    level = np.ones(fresh.weights.size)
    both = fresh.with_rows(state={FREE: 0.3 * level, NEUTRALISER: 0.5 * level})
    after = predicted(both, -3600.0, -3580.0)
    assert np.max(after.state[FREE]) == 0.0
    assert np.allclose(after.state[NEUTRALISER], 0.2, rtol=0.01)


def test_ammonia_turns_free_chlorine_into_combined_within_a_minute() -> None:
    fresh = particles_of(announced(litres=25.0))
    level = np.ones(fresh.weights.size)
    rows = {FREE: 0.1 * level, CAPACITY: 5.0 * level, NEUTRALISER: 0.0 * level}
    plenty = fresh.with_rows(state=rows)
    after = predicted(plenty, -3600.0, -3540.0)
    assert np.max(after.state[FREE]) < 0.006  # 95 % bound; by the full scheme 99.9 % in 60 s
    assert np.allclose(after.residual, 0.1, rtol=0.15)  # but for demand


def test_a_prediction_leaves_what_it_began_with_as_it_was() -> None:
    fresh = particles_of(announced(litres=25.0))
    before = fresh.state.copy()
    predicted(fresh, 0.0, 60.0)
    assert np.array_equal(fresh.state, before)


def water(**levels: Array | float) -> Particles:
    """Two particles in which nothing happens but what their levels [mg/L as Cl2] do."""
    rows = {"free": FREE, "combined": COMBINED, "neutraliser": NEUTRALISER, "capacity": CAPACITY}
    state = {rows[name]: np.zeros(2) + level for name, level in levels.items()}
    return still(2).with_rows(state=state)


def test_each_substance_is_mixed_by_what_the_water_brings_of_it() -> None:
    """A tenth of the volume within one step: c + f (c_in - c); half of a pour is half of it."""
    start = water(free=0.4, combined=0.8).with_rows({
        FRACTION: np.full(2, 0.1), START_S: np.array([60.0, -30.0]), POUR_S: np.full(2, 60.0),
        IN_FREE: np.full(2, 3.0), IN_COMBINED: np.full(2, 1.0),
    })  # fmt: skip
    f = np.array([0.1, 0.05])
    after = predicted(start, 0.0, 120.0)
    assert after.state[FREE] == pytest.approx(0.4 + f * (3.0 - 0.4))
    assert after.state[COMBINED] == pytest.approx(0.8 + f * (1.0 - 0.8))
    assert after.state[POURED] == pytest.approx(f)
    unpoured = predicted(start, 0.0, 120.0, pouring=False)
    assert unpoured.state[[FREE, COMBINED, POURED], 0].tolist() == [0.4, 0.8, 0.0]


def test_neutraliser_comes_with_the_water_and_is_used_up_at_three_tenths_an_hour() -> None:
    start = still(2).with_rows({
        FRACTION: np.full(2, 0.1), START_S: np.zeros(2), IN_NEUTRALISER: np.full(2, 0.7),
    })  # fmt: skip
    after = predicted(start, 0.0, 1800.0)
    assert after.state[NEUTRALISER] == pytest.approx(0.07 * math.exp(-0.15))


def test_combined_chlorine_meets_a_surplus_within_minutes_and_both_lose_as_much() -> None:
    """Of the scarcer of the two 1 - 1/e after three minutes, whichever it is."""
    after = predicted(
        water(combined=np.array([0.2, 0.5]), neutraliser=np.array([0.5, 0.2])), 0, 180
    )
    gone = 0.2 * (1.0 - math.exp(-1.0))
    assert after.state[COMBINED] == pytest.approx(np.array([0.2, 0.5]) - gone)
    left = (np.array([0.5, 0.2]) - gone) * math.exp(-0.3 * 180.0 / 3600.0)
    assert after.state[NEUTRALISER] == pytest.approx(left)
    assert not after.state[[FREE, CAPACITY]].any()


def test_ammonia_binds_as_the_second_order_law_says_and_is_used_up() -> None:
    """dF/dt = -k F A, where A is what the ammonia can still bind: SciPy's integrator gives the
    same, at the pace of pH 7.5 and 25 degrees C unless another is known."""
    start = water(free=0.3, capacity=0.2, combined=0.1)
    usual, slow = predicted(start, 0.0, 30.0), predicted(start, 0.0, 30.0, binding=0.05)
    for after, pace in ((usual, binding_rate(7.5, 25.0)), (slow, 0.05)):
        exact = solve_ivp(
            lambda _, y, k=pace: [-k * y[0] * y[1]] * 2, (0.0, 30.0), [0.3, 0.2],
            rtol=1e-10, atol=1e-13,
        )  # fmt: skip
        free, capacity = exact.y[:, -1]
        assert after.state[FREE] == pytest.approx(free, rel=1e-6)
        assert after.state[CAPACITY] == pytest.approx(capacity, rel=1e-6)
        assert after.state[COMBINED] == pytest.approx(0.1 + 0.3 - free, rel=1e-6)


def test_free_and_combined_decay_at_their_own_pace_and_the_peak_is_what_was_there_before() -> None:
    pace = {K_FREE_PER_S: np.full(2, 2e-3), K_COMBINED_PER_S: np.full(2, 3e-4)}
    start = water(free=0.3, combined=0.2).with_rows(pace, {PEAK: np.array([0.1, 0.9])})
    after = predicted(start, 0.0, 600.0)
    assert after.state[FREE] == pytest.approx(0.3 * math.exp(-1.2))
    assert after.state[COMBINED] == pytest.approx(0.2 * math.exp(-0.18))
    assert after.state[PEAK] == pytest.approx([0.5, 0.9])
