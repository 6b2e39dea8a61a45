"""What temperature, pH and kits say, and what a disturbance is."""

from dataclasses import replace

import numpy as np
import pytest

from afterfill.inference.model import priors
from afterfill.inference.model.initial import as_cold_as_felt
from afterfill.inference.model.observations import (
    ChlorineKit,
    Moment,
    Orp,
    acidity,
    temperature,
    tempering,
)
from afterfill.inference.model.particles import (
    BACKGROUND_MV,
    BACKGROUND_VAR,
    DISTURBANCE_MV,
    DISTURBANCE_RISE_S,
    FRACTION,
    IN_C,
    NEUTRALISER,
    Particles,
)
from particle_sets import WATER, announced, of, particles_of, run, suspected

LATER = [Moment(1080.0 + 20.0 * number, 20.0, announced=False) for number in range(60)]


def odds_between_pouring(particles: Particles) -> float:
    weights = particles.weights
    return float(np.sum(weights[of("short")]) / np.sum(weights[of("dosed")]))


def probability_of_water(particles: Particles) -> float:
    return float(np.sum(particles.weights[~of("disturbance")]))


@pytest.mark.parametrize("step_c", [-2.5, -0.5, 0.0])
def test_temperature_tells_that_water_came_but_not_whether_it_was_treated(step_c: float) -> None:
    before = run(particles_of(suspected()), 0.3)
    after, channel = before, temperature(25.0)
    for moment in LATER:
        after = channel.update(after, 25.0 + step_c, moment)
    ratio = odds_between_pouring(after) / odds_between_pouring(before)
    assert ratio == pytest.approx(1.0, rel=1e-6)
    assert (probability_of_water(after) > probability_of_water(before)) == (step_c < -0.3)


@pytest.mark.parametrize("step", [0.12, 0.0])
def test_ph_tells_that_water_came_but_not_whether_it_was_treated(step: float) -> None:
    hard = replace(WATER, ph=8.6)
    before = run(particles_of(suspected(hard), ph=7.2), 0.3)
    after, channel = before, acidity(7.2)
    for moment in LATER:
        after = channel.update(after, 7.2 + step, moment)
    ratio = odds_between_pouring(after) / odds_between_pouring(before)
    assert ratio == pytest.approx(1.0, rel=1e-6)
    assert (probability_of_water(after) > probability_of_water(before)) == (step > 0.05)


def test_after_an_announcement_temperature_moves_no_odds_between_hypotheses() -> None:
    before = run(particles_of(announced(litres=25.0, minutes=10.0)), 0.3)
    after = temperature(25.0).update(before, 22.0, Moment(1080.0, 60.0, announced=True))
    for name in ("disturbance", "dosed", "short"):
        assert after.weights[of(name)].sum() == pytest.approx(before.weights[of(name)].sum())
    assert not np.allclose(after.weights, before.weights)


def test_the_background_is_tracked_by_a_kalman_update_of_its_own() -> None:
    """In closed form: with the reading's variance r, K = P / (P + r), P' = P (1 - K)."""
    fresh = particles_of(announced(litres=25.0))
    nothing = np.zeros(fresh.weights.size)
    quiet = fresh.with_rows({DISTURBANCE_MV: nothing}, {NEUTRALISER: nothing})
    moment = Moment(-600.0, 600.0, announced=True)
    after, above_mv = Orp(1.0, 7.5).update(quiet, 300.0, moment)
    prior_var = 1.0 + priors.WANDER_MV_PER_SQRT_H**2 / 6.0
    noise = 1.0 + priors.MODEL_ERROR_MV**2
    gain = prior_var / (prior_var + noise / (1.0 + 1.0 / priors.TAIL_NU))
    assert above_mv == pytest.approx(0.0, abs=1e-9)
    assert after.state[BACKGROUND_VAR] == pytest.approx(prior_var * (1.0 - gain))
    assert after.state[BACKGROUND_MV] == pytest.approx(300.0)


def test_the_background_follows_a_reading_by_its_gain() -> None:
    """In closed form, with Student's t as a Gaussian of the variance that the reading's own
    distance gives it: r' = r (1 + d^2 / (nu (P + r))) / (1 + 1 / nu)."""
    fresh = particles_of(announced(litres=25.0))
    nothing = np.zeros(fresh.weights.size)
    quiet = fresh.with_rows({DISTURBANCE_MV: nothing}, {NEUTRALISER: nothing})
    after, above_mv = Orp(1.0, 7.5).update(quiet, 305.0, Moment(-600.0, 600.0, announced=True))
    prior_var = 1.0 + priors.WANDER_MV_PER_SQRT_H**2 / 6.0
    noise = 1.0 + priors.MODEL_ERROR_MV**2
    distance = 25.0 / (priors.TAIL_NU * (prior_var + noise))
    heavy = noise * (1.0 + distance) / (1.0 + 1.0 / priors.TAIL_NU)
    gain = prior_var / (prior_var + heavy)
    assert above_mv == pytest.approx(5.0)
    assert after.state[BACKGROUND_MV] == pytest.approx(300.0 + 5.0 * gain)
    assert after.state[BACKGROUND_VAR] == pytest.approx(prior_var * (1.0 - gain))


def test_readings_close_together_count_for_less_and_late_ones_for_less_still() -> None:
    early = [tempering(Moment(600.0, step_s, True)) for step_s in (10.0, 60.0, 600.0)]
    assert early == sorted(early)
    assert early[-1] == 1.0
    assert tempering(Moment(7200.0, 60.0, True)) < tempering(Moment(600.0, 60.0, True))


@pytest.mark.parametrize(("shown", "truth", "odd"), [(0.0, 0.5, "low"), (0.6, 0.0, "high")])
def test_a_kit_that_is_wrong_altogether_does_not_end_the_matter(
    shown: float, truth: float, odd: str
) -> None:
    """Now and then a test reads nothing, or what is no chlorine: the particle that it contradicts
    keeps a share that the kit's own error alone would never leave it."""
    fresh = particles_of(announced(litres=25.0))
    of_half = np.full(fresh.weights.size, 0.5)
    of_half[of("dosed")] = 0.0
    after = ChlorineKit(of_half).update(fresh, shown)
    contradicted = ~of("dosed") if truth else of("dosed")
    kept = after.weights[contradicted].sum() / fresh.weights[contradicted].sum()
    other = after.weights[~contradicted].sum() / fresh.weights[~contradicted].sum()
    assert 1e-4 < kept / other < 0.2, odd


def test_disturbances_are_even_and_mostly_of_the_size_of_feeding() -> None:
    theta = particles_of(announced(litres=25.0, minutes=10.0)).parameters
    heights = theta[DISTURBANCE_MV, of("disturbance")]
    assert abs(np.mean(heights)) < 2.0
    assert 0.9 < np.mean(np.abs(heights) <= 30.0) < 1.0
    at_once = theta[DISTURBANCE_RISE_S, of("disturbance")] < priors.AT_ONCE_S
    assert 0.04 < np.mean(at_once) < 0.12


def test_a_suspected_disturbance_pours_nothing() -> None:
    theta = particles_of(suspected()).parameters
    assert np.all(theta[FRACTION, of("disturbance")] == 0.0)
    assert np.all(theta[FRACTION, of("short")] > 0.0)


def test_cold_that_is_felt_is_poured_by_half_of_the_particles_and_none_pours_too_much() -> None:
    before = particles_of(suspected()).parameters
    for step_c in (-0.5, -6.0, 3.0):
        after = as_cold_as_felt(before, 25.0, step_c)
        pours = before[FRACTION] > 0.0
        made_c = (after[FRACTION] * (after[IN_C] - 25.0))[pours]
        assert np.mean(np.sign(step_c) * made_c >= 0.99 * abs(step_c)) > 0.4
        assert np.all((after[FRACTION] >= 0.0) & (after[FRACTION] <= 1.0))
    assert as_cold_as_felt(before, 25.0, 0.1) is before
    known = as_cold_as_felt(before, 25.0, -2.0, source_known=True)
    assert np.array_equal(known[IN_C], before[IN_C])
    assert np.all((known[FRACTION] >= 0.0) & (known[FRACTION] <= 1.0))
