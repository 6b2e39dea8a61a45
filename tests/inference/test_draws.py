import numpy as np
import pytest
from scipy import stats

from afterfill.inference.draws import log_normal, normal, uniform


@pytest.mark.parametrize("column", [0, 7, 23])
def test_every_stratum_is_met_once(column: int) -> None:
    strata = np.floor(np.sort(uniform(192, column)) * 192)
    assert strata.tolist() == list(range(192))


def test_columns_are_not_aligned() -> None:
    table = np.array([uniform(192, column) for column in range(24)])
    correlations = np.corrcoef(table) - np.eye(24)
    assert np.max(np.abs(correlations)) < 0.3


def test_normals_have_the_distribution_of_scipy() -> None:
    assert stats.kstest(normal(576, 3), "norm").pvalue > 0.99  # stratified: better than random


def test_log_normal_has_its_median_and_spread() -> None:
    draws = log_normal(576, 4, 0.2, 0.6)
    assert np.median(draws) == pytest.approx(0.2, rel=0.01)
    assert np.std(np.log(draws)) == pytest.approx(0.6, rel=0.02)


def test_the_first_draws_are_these_on_every_machine() -> None:
    assert [round(float(u), 6) for u in uniform(8, 0)] == FIRST


FIRST = [0.6875, 0.4375, 0.1875, 0.9375, 0.5625, 0.3125, 0.0625, 0.8125]
