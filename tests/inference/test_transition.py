"""How the water of a particle changes: nothing comes from nothing."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from afterfill.inference.model.particles import (
    CAPACITY,
    COMBINED,
    FRACTION,
    FREE,
    IN_COMBINED,
    K_COMBINED_PER_S,
    K_FREE_PER_S,
    NEUTRALISER,
    PEAK,
    POUR_S,
    POURED,
    START_S,
)
from afterfill.inference.model.transition import predicted
from particle_sets import announced, of, particles_of, rows_of, run


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
