"""The filter's algorithms, by numbers that can be worked out by hand."""

import numpy as np
import pytest

from afterfill.inference.filter.resampling import depleted, resampled, reweighted, shrunk

TWO = (slice(0, 4), slice(4, 8))


def test_weights_grow_by_their_likelihood_and_add_up_to_one() -> None:
    after = reweighted(np.array([0.25, 0.75]), np.log([2.0, 1.0]))
    assert after == pytest.approx([0.4, 0.6])


@pytest.mark.parametrize("best", [0.0, 2000.0, -2000.0])
def test_no_likelihood_is_too_large_and_no_weight_is_lost(best: float) -> None:
    after = reweighted(np.array([0.5, 0.5]), np.array([best, best - 5000.0]))
    assert after[0] == 1.0
    assert 0.0 < after[1] < 1e-200


@pytest.mark.parametrize(("alive", "is_depleted"), [(10, False), (4, False), (3, True), (1, True)])
@pytest.mark.parametrize("total", [1.0, 0.125])
def test_a_group_is_depleted_when_fewer_than_four_in_ten_count(
    alive: int, is_depleted: bool, total: float
) -> None:
    """Of equal weights as many are effective as there are."""
    weights = np.concatenate([np.full(5, 0.1), np.where(np.arange(10) < alive, total / alive, 0.0)])
    assert depleted(weights, (slice(0, 5), slice(5, 15))) == ([1] if is_depleted else [])


@pytest.mark.parametrize(("total", "found"), [(1e-12, []), (1.1e-12, [0])])
def test_a_group_that_weighs_nothing_is_left_alone(total: float, found: list[int]) -> None:
    assert depleted(np.array([total, 0.0, 0.0, 0.0]), (slice(0, 4),)) == found


def test_each_copy_is_taken_where_its_point_falls() -> None:
    """Points at 1/8, 3/8, 5/8, 7/8 of shares that reach 0.8, 0.9, 1, 1."""
    weights = np.array([0.1, 0.2, 0.1, 0.1, 0.4, 0.05, 0.05, 0.0])
    before = weights.copy()
    index, after = resampled(weights, TWO, [1])
    assert index.tolist() == [0, 1, 2, 3, 4, 4, 4, 5]
    assert after == pytest.approx([0.1, 0.2, 0.1, 0.1, 0.125, 0.125, 0.125, 0.125])
    assert np.array_equal(weights, before)


def test_a_group_that_was_all_but_lost_can_come_back() -> None:
    _, after = resampled(np.array([1e-20, 0.0, 0.0, 0.0]), (slice(0, 4),), [0])
    assert after == pytest.approx(np.full(4, 1e-12 / 4), rel=1e-9, abs=0.0)


def test_shrinkage_keeps_means_variances_and_correlations_of_each_group() -> None:
    """Each keeps 0.7 of its deviation; another one's makes up for the rest of the variance."""
    random = np.random.default_rng(1)
    x = random.normal(size=20_000)
    values = np.array([5.0 + x, 3.0 - 2.0 * x + random.normal(size=x.size)])
    groups = (slice(0, 10_000), slice(10_000, 20_000))
    values[:, groups[1]] += 40.0
    before, after = values.copy(), shrunk(values, groups)
    assert np.array_equal(values, before)
    for rows in groups:
        was, is_ = before[:, rows], after[:, rows]
        assert is_.mean(axis=1) == pytest.approx(was.mean(axis=1), abs=1e-9)
        assert np.cov(is_) == pytest.approx(np.cov(was), rel=0.05)
        assert np.corrcoef(was[0], is_[0])[0, 1] == pytest.approx(0.7, abs=0.03)
        anothers = is_[0] - was[0].mean() - 0.7 * (was[0] - was[0].mean())
        assert np.var(anothers) == pytest.approx((1.0 - 0.7**2) * np.var(was[0]))


def test_a_deviation_is_not_mirrored() -> None:
    """A lopsided group stays so: third moments of independent parts add up."""
    x = np.random.default_rng(2).exponential(size=20_000)
    after = shrunk(x[np.newaxis], (slice(0, x.size),))[0]
    kept = 0.7**3 + (1.0 - 0.7**2) ** 1.5
    was, is_ = (float(np.mean((values - 1.0) ** 3)) for values in (x, after))
    assert is_ == pytest.approx(kept * was, rel=0.15)
