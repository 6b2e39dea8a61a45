import numpy as np
import pytest
from scipy import stats

from afterfill.inference.filter.streams import log_normal, normal, uniform
from afterfill.inference.model.parameters import PARAMETERS


@pytest.mark.parametrize("stream", ["fraction", "pH slope", "c0_mg_l"])
def test_every_stratum_is_met_once(stream: str) -> None:
    strata = np.floor(np.sort(uniform(192, stream)) * 192)
    assert strata.tolist() == list(range(192))


def test_streams_are_not_aligned() -> None:
    names = [parameter.name for parameter in PARAMETERS]
    table = np.array([uniform(192, name) for name in names])
    correlations = np.corrcoef(table) - np.eye(len(names))
    assert np.max(np.abs(correlations)) < 0.3


def test_a_stream_is_the_same_whatever_else_is_read() -> None:
    before = uniform(64, "fraction").copy()
    uniform(64, "a stream that was not there before")
    assert np.array_equal(uniform(64, "fraction"), before)


def test_normals_have_the_distribution_of_scipy() -> None:
    assert (
        stats.kstest(normal(576, "fraction"), "norm").pvalue > 0.99
    )  # stratified: better than random


def test_log_normal_has_its_median_and_spread() -> None:
    draws = log_normal(576, "fraction", 0.2, 0.6)
    assert np.median(draws) == pytest.approx(0.2, rel=0.01)
    assert np.std(np.log(draws)) == pytest.approx(0.6, rel=0.02)


def test_the_first_draws_are_these_on_every_machine() -> None:
    assert [round(float(u), 6) for u in uniform(8, "fraction")] == FIRST


FIRST = [0.1875, 0.4375, 0.3125, 0.9375, 0.5625, 0.0625, 0.8125, 0.6875]
