"""The bench's statistics against other implementations, against arithmetic, and against chance."""

import numpy as np
import pytest
from scipy.optimize import isotonic_regression

from bench.calibration import brier, miscalibration_by_chance, recalibrated
from bench.ranks import band, evenness, rank_of


@pytest.mark.parametrize("seed", range(8))
def test_recalibrated_probabilities_are_those_of_another_implementation(seed: int) -> None:
    random = np.random.default_rng(seed)
    said = random.permutation(200) / 200.0
    true = random.random(200) < said**2
    order = np.argsort(said)
    expected = isotonic_regression(true[order].astype(float)).x
    assert recalibrated(said, true)[order] == pytest.approx(expected)


def test_what_was_said_alike_is_recalibrated_alike() -> None:
    assert recalibrated([0.2, 0.7, 0.2, 0.2], [1, 1, 0, 0]) == pytest.approx(
        [1 / 3, 1, 1 / 3, 1 / 3]
    )


def test_the_parts_of_the_score_add_up() -> None:
    random = np.random.default_rng(3)
    said = random.random(300)
    parts = brier(said, random.random(300) < said)
    whole = parts.miscalibration - parts.discrimination + parts.uncertainty
    assert parts.score == pytest.approx(whole)
    assert min(parts) >= 0.0


def test_miscalibration_of_two_sure_words_is_arithmetic() -> None:
    # 0.9 said ten times and true in five of them: (0.9 - 0.5)^2; 0.1 and never true: 0.1^2.
    said, true = [0.9] * 10 + [0.1] * 10, [1] * 5 + [0] * 15
    assert brier(said, true).miscalibration == pytest.approx((0.4**2 + 0.1**2) / 2)


def test_right_probabilities_show_no_more_miscalibration_than_chance_makes() -> None:
    random = np.random.default_rng(5)
    said = random.random(400)
    by_chance = miscalibration_by_chance(said)
    assert brier(said, random.random(400) < said).miscalibration < 2.5 * by_chance
    assert brier(said, random.random(400) < said**3).miscalibration > 4.0 * by_chance


def test_a_rank_is_the_weight_below() -> None:
    random, values = np.random.default_rng(1), np.array([3.0, 1.0, 2.0])
    assert rank_of(2.5, values, np.array([0.5, 0.3, 0.2]), random) == pytest.approx(0.5)
    assert rank_of(0.0, values, np.ones(3), random) == 0.0
    assert rank_of(9.0, values, np.ones(3), random) == 1.0


def test_ranks_among_equals_are_drawn_evenly_over_them() -> None:
    random, values = np.random.default_rng(1), np.array([0.0, 0.0, 1.0, 1.0])
    ranks = [rank_of(0.0, values, np.ones(4), random) for _ in range(400)]
    assert max(ranks) <= 0.5
    assert np.mean(ranks) == pytest.approx(0.25, abs=0.03)


def test_even_ranks_leave_the_bands_as_seldom_as_these_say() -> None:
    random = np.random.default_rng(2)
    found = [evenness(random.random(150)) for _ in range(400)]
    for level in (0.95, 0.99):
        low, high = band(150, level)
        outside = [np.any((it.off < low - 1e-9) | (it.off > high + 1e-9)) for it in found]
        assert np.mean(outside) == pytest.approx(1.0 - level, abs=0.03)
        assert outside == [it.p < 1.0 - level for it in found]


@pytest.mark.parametrize("power", [0.6, 1.6])
def test_ranks_of_a_biased_filter_are_found_out(power: float) -> None:
    found = evenness(np.random.default_rng(4).random(200) ** power)
    assert found.p < 0.01
    assert found.chi_square_p < 0.01


def test_too_narrow_intervals_are_found_out() -> None:
    ranks = np.random.default_rng(4).beta(0.5, 0.5, 200)
    assert evenness(ranks).p < 0.01
