"""Resampled copies are possible worlds, and hypotheses keep the weight that evidence gave them."""

import math
from dataclasses import replace

import numpy as np
import pytest

from afterfill.inference import words
from afterfill.inference.belief import Belief
from afterfill.inference.model import priors
from afterfill.inference.model.electrode import LOGARITHMIC, PH_REFERENCE, probes_of
from afterfill.inference.model.hypotheses import HYPOTHESES
from afterfill.inference.model.observations import Moment, Orp, expected_orp_mv
from afterfill.inference.model.parameters import tap_sigma
from afterfill.inference.model.particles import (
    B_MV,
    BACKGROUND_MV,
    C0_MG_L,
    COMBINED,
    DISTURBANCE_MV,
    DISTURBANCE_RISE_S,
    FREE,
    IN_FREE,
    NEUTRALISER,
    PEAK,
    PH_SLOPE_MV,
    TAP_Z,
    Particles,
)
from afterfill.inference.model.regularisation import Ridge, along_ridge, refreshed
from afterfill.inference.monitor import watch
from afterfill.inference.setup import Pour, Setup, Water
from particle_sets import GROUPS, announced, of, particles_of, pulled, rows_of, run, suspected


def pulled_to(particles: Particles, b_mv: float) -> Particles:
    log_b = np.log(particles.parameters[B_MV])
    return pulled(particles, -0.5 * ((log_b - np.log(b_mv)) / 0.03) ** 2)


def test_resampling_keeps_each_hypothesis_weight_and_the_moments_within_it() -> None:
    before = pulled_to(particles_of(announced(litres=25.0)), 95.0)
    after = refreshed(before, 600.0, 7.5)
    assert after is not before
    for rows in GROUPS:
        was, is_ = before.weights[rows], after.weights[rows]
        assert is_.sum() == pytest.approx(was.sum(), rel=1e-9)
        mean = np.average(np.log(before.parameters[B_MV, rows]), weights=was)
        assert np.mean(np.log(after.parameters[B_MV, rows])) == pytest.approx(mean, abs=0.03)


def test_resampling_makes_no_chlorine_that_was_not_poured() -> None:
    now = run(particles_of(announced(litres=25.0, minutes=10.0)), 0.5)
    most = [float(np.max(now.state[PEAK, rows])) for rows in GROUPS]
    for _ in range(20):
        pull = -0.5 * ((np.log(now.state[PEAK] + 1e-3) - np.log(0.3)) / 0.2) ** 2
        now = refreshed(pulled(now, pull), 1800.0, 7.5)
    for rows, before in zip(GROUPS, most, strict=True):
        assert np.max(now.state[PEAK, rows]) <= before + 1e-12
        assert np.all(now.state[PEAK, rows] >= now.residual[rows] - 1e-12)


def test_resampling_keeps_the_orp_that_particles_agree_on() -> None:
    fresh = run(particles_of(announced(litres=25.0, minutes=10.0)), 0.5)
    at_s, ph = 1800.0, 8.4
    by_ph = fresh.parameters[PH_SLOPE_MV] * (ph - PH_REFERENCE)
    agreed = fresh.with_rows(state={BACKGROUND_MV: 320.0 - expected_orp_mv(fresh, at_s) - by_ph})
    after = refreshed(pulled_to(agreed, 95.0), at_s, ph)
    by_ph = after.parameters[PH_SLOPE_MV] * (ph - PH_REFERENCE)
    expected = after.state[BACKGROUND_MV] + expected_orp_mv(after, at_s) + by_ph
    for rows in GROUPS:
        assert not np.allclose(after.state[BACKGROUND_MV, rows], agreed.state[BACKGROUND_MV, rows])
        assert np.mean(expected[rows]) == pytest.approx(320.0, abs=3.0)
        assert np.std(expected[rows]) < 0.5 * np.std(agreed.state[BACKGROUND_MV, rows])


def test_resampling_keeps_a_background_that_is_known_to_a_millivolt() -> None:
    """A hypothesis that the readings refute must not follow them with its background."""
    now = run(particles_of(announced(litres=25.0, minutes=10.0)), 0.5)
    spread_mv = np.std(now.state[BACKGROUND_MV])
    for number in range(30):
        shown = now.state[BACKGROUND_MV] + expected_orp_mv(now, 1800.0)
        pull = -0.5 * ((shown - 360.0) / 8.0) ** 2
        now = refreshed(pulled(now, pull), 1800.0 + number, PH_REFERENCE)
    assert np.max(np.abs(now.state[BACKGROUND_MV] - 300.0)) < 1.0 + 4.0 * spread_mv


def test_resampling_leaves_healthy_particles_alone() -> None:
    fresh = particles_of(announced(litres=25.0))
    assert refreshed(fresh, 600.0, 7.5) is fresh


def test_a_group_that_is_not_depleted_is_left_to_the_bit() -> None:
    fresh = run(particles_of(announced(litres=25.0, minutes=10.0)), 0.5)
    pull = np.zeros(fresh.weights.size)
    short = rows_of("short")
    log_b = np.log(fresh.parameters[B_MV, short])
    pull[short] = -0.5 * ((log_b - np.log(95.0)) / 0.03) ** 2
    after = refreshed(pulled(fresh, pull), 1800.0, 7.5)
    rest = ~of("short")
    assert np.array_equal(after.parameters[:, rest], fresh.parameters[:, rest])
    assert np.array_equal(after.state[:, rest], fresh.state[:, rest])
    assert not np.array_equal(after.parameters[:, short], fresh.parameters[:, short])


def test_no_disturbance_that_comes_in_minutes_grows_beyond_what_feeding_does() -> None:
    now = particles_of(suspected())
    for minute in range(1, 31):  # a smooth rise by 50 mV
        at_s, orp_mv = 60.0 * minute, 300.0 + 50.0 * (1.0 - math.exp(-minute / 4.0))
        now, _ = Orp(1.0, PH_REFERENCE).update(now, orp_mv, Moment(at_s, 60.0, False))
        now = refreshed(now, at_s, PH_REFERENCE)
    slowly = of("disturbance") & (now.parameters[DISTURBANCE_RISE_S] >= priors.AT_ONCE_S)
    assert np.sum(slowly) > 50
    assert np.max(np.abs(now.parameters[DISTURBANCE_MV, slowly])) <= priors.DISTURBED_MV


# --- the direction that readings cannot tell ----------------------------------------------------

CHLORINE = Water("chlorine", 2.0, 3.5)
SETUP = Setup("t", 100.0, 0.011, CHLORINE, mg_cl2_per_ml=40.0)
POUR = Pour(0.0, announced=True, water=CHLORINE, litres=25.0, minutes=5.0)
SHORT = rows_of("short")
RIDGE = Ridge(tap_sigma(CHLORINE), float(np.log(priors.C0_MG_L)), 1.0)


def with_chlorine() -> Particles:
    fresh = particles_of(POUR, SETUP)
    level = np.ones(fresh.weights.size)
    return fresh.with_rows(state={FREE: 0.2 * level, COMBINED: 0.1 * level})


def test_no_probe_shows_anything_of_the_move() -> None:
    before, after = with_chlorine(), along_ridge(with_chlorine(), RIDGE, 600.0, SHORT)
    shown = [
        LOGARITHMIC.response_mv(probes_of(p), p.state[FREE], p.state[COMBINED], 0.6)
        for p in (before, after)
    ]
    assert shown[1] == pytest.approx(shown[0], rel=1e-12)
    assert np.all(after.state[FREE, SHORT] != before.state[FREE, SHORT])
    rest = ~of("short")
    assert np.array_equal(after.state[:, rest], before.state[:, rest])
    ratios = [p.parameters[IN_FREE] / p.state[FREE] for p in (before, after)]
    assert ratios[1] == pytest.approx(ratios[0])


def test_what_the_prior_says_of_tap_and_probe_stays_as_it_is() -> None:
    """The product of two normal densities (any textbook): a draw from both, moved, is one again."""
    now = with_chlorine()
    for number in range(20):
        now = along_ridge(now, RIDGE, 37.0 * number, SHORT)
    z, log_c0 = now.parameters[TAP_Z, SHORT], np.log(now.parameters[C0_MG_L, SHORT])
    slack = 3.0 / np.sqrt(z.size)
    assert np.mean(z) == pytest.approx(0.0, abs=slack)
    assert np.std(z) == pytest.approx(1.0, abs=slack)
    assert np.mean(log_c0) == pytest.approx(RIDGE.c0_mean, abs=slack)
    assert np.std(log_c0) == pytest.approx(RIDGE.c0_sd, abs=slack)


def test_copies_of_one_particle_get_back_what_is_known_of_the_tap() -> None:
    level = np.ones(with_chlorine().weights.size)
    same = with_chlorine().with_rows({TAP_Z: 1.5 * level, C0_MG_L: 0.025 * level})
    after = along_ridge(same, RIDGE, 600.0, SHORT)
    # prior N(0, 1) of z, and of log C0 = log C0' + sigma (z - z'): precisions add up
    precision = 1.0 + RIDGE.tap_sigma**2
    drawn = after.parameters[TAP_Z, SHORT]
    assert np.mean(drawn) == pytest.approx(1.5 * RIDGE.tap_sigma**2 / precision, abs=0.02)
    assert np.std(drawn) == pytest.approx(precision**-0.5, rel=0.03)


def test_a_particle_with_neutraliser_left_is_not_on_the_ridge() -> None:
    before = with_chlorine()
    some = before.with_rows(state={NEUTRALISER: np.full(before.weights.size, 0.4)})
    after = along_ridge(some, RIDGE, 600.0, SHORT)
    assert np.array_equal(after.state[FREE], some.state[FREE])
    assert np.array_equal(after.parameters[C0_MG_L], some.parameters[C0_MG_L])


def test_a_watch_draws_its_tap_again_when_untreated_water_is_resampled() -> None:
    """Without the move a few survivors would decide how strong the tap was."""
    before = with_chlorine()
    log_start = before.parameters[TAP_Z]
    pull = -0.5 * ((log_start - 1.5) / 0.05) ** 2
    with_move = refreshed(pulled(before, pull), 600.0, 7.5, RIDGE)
    without = refreshed(pulled(before, pull), 600.0, 7.5)
    assert np.std(without.parameters[TAP_Z, SHORT]) < 0.2
    assert np.std(with_move.parameters[TAP_Z, SHORT]) > 0.5


def test_a_test_of_the_water_ends_the_ridge_and_so_does_water_of_an_older_watch() -> None:
    belief = words.poured(SETUP, Belief(), POUR, 0.0)
    assert belief.watch is not None
    assert belief.watch.ridge == replace(RIDGE, c0_sd=priors.C0_SIGMA)
    assert watch.tested(belief.watch, 0.3, 7.5, free_only=False).ridge is None
    again = words.poured(SETUP, belief, Pour(7200.0, True, CHLORINE, 25.0, 5.0), 7200.0)
    assert again.watch is not None
    assert again.watch.ridge is None


def test_every_hypothesis_has_particles_enough_to_be_resampled() -> None:
    assert all(hypothesis.size >= 64 for hypothesis in HYPOTHESES)
