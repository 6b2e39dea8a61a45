"""Which tests count, what was said and came true, and which test to make next."""

import numpy as np
import pytest
from scipy import stats

from afterfill.audit.answers import FIGURES, answers, over_limit, shown_from
from afterfill.audit.audit import TESTS_NEEDED, audited
from afterfill.audit.kits import AMMONIA, CHLORINE
from afterfill.audit.next_test import expected_nats, next_test
from afterfill.audit.reliability import bins, share_between
from afterfill.records import ForecastCheck, Quantiles
from audit_samples import HOUR_S, forecast_check
from cli_room import estimate

TOTAL, FREE, AMMONIA_FIGURE = FIGURES
DAY_H = 24.0


def counted(records: list[ForecastCheck], lead_h: float = 0.0) -> list[float]:
    """Hours at which a total-chlorine test counted."""
    return [answer.kit_s / HOUR_S for answer in answers(records, TOTAL, lead_h)]


def test_a_test_typed_twice_counts_once() -> None:
    again = forecast_check(10.3, kit_s=10 * HOUR_S)
    assert counted([forecast_check(10), again, forecast_check(10.5), forecast_check(12)]) == [
        10,
        12,
    ]


def test_a_forecast_counts_only_if_it_was_said_after_the_answer_before() -> None:
    """So each stands for itself, also with forecasts of a day that overlap."""
    at_h = [30, 36, 54, 62]
    records = [forecast_check(h, lead_h=24.0, said_s=(h - 24) * HOUR_S) for h in at_h]
    assert counted(records, 24.0) == [30, 54]
    assert counted(records) == []


def test_a_late_word_about_an_older_water_does_not_count_behind_a_newer_one() -> None:
    late = forecast_check(12, kit_s=9 * HOUR_S, said_s=8.5 * HOUR_S)
    assert counted([forecast_check(10), late]) == [10]


def test_nothing_is_said_of_chlorine_while_blind() -> None:
    blind = forecast_check(10, sees=False, kit_total_ammonia_mg_l=0.25)
    assert counted([blind]) == []
    assert over_limit([blind]) == []
    assert len(answers([blind], AMMONIA_FIGURE, 0.0)) == 1


def test_tests_of_ammonia_alone_audit_ammonia_alone() -> None:
    records = [
        forecast_check(h * DAY_H, kit_total_chlorine_mg_l=None, kit_total_ammonia_mg_l=0.0)
        for h in range(12)
    ]
    found = audited("window", records, None)
    assert {figure.name: figure.tests for figure in found.figures if figure.tests} == {
        "total ammonia": 12
    }
    assert found.bins == ()
    assert found.shown_from_mg_l is None
    assert found.word == "nothing-against"


def test_too_few_tests_say_so() -> None:
    found = audited("window", [forecast_check(h * DAY_H) for h in range(TESTS_NEEDED - 1)], None)
    assert found.sentence() == "not enough tests yet (9 of 10)"
    assert audited("window", [], None).sentence() == "not enough tests yet (0 of 10)"


def test_chlorine_that_was_not_said_is_found_out_and_named() -> None:
    records = [forecast_check(h * DAY_H, kit_total_chlorine_mg_l=0.5) for h in range(8)]
    found = audited("window", records, None)
    assert found.word == "too-low"
    assert found.sentence().startswith("the figures are too low, above all ")
    assert "(8 tests, e = more than 1000)" in found.sentence()


def test_the_order_of_looking_does_not_matter() -> None:
    """An audit is a function of the records: looked at each day or once, it ends alike."""
    records = [forecast_check(h * DAY_H, kit_total_chlorine_mg_l=0.1 * (h % 3)) for h in range(20)]
    for n in range(20):
        audited("window", records[:n], None)
    assert audited("window", records, None).e == audited("window", list(records), None).e


def test_a_kit_errs_above_the_limit_seldom() -> None:
    """From three deviations on; the chance is SciPy's, with the kit's odd high readings."""
    sure_mg_l, wrongly = shown_from(0.019)
    deviation = np.hypot(0.03, 0.2 * 0.019)
    assert sure_mg_l == pytest.approx(0.019 + 3 * deviation)
    assert wrongly == pytest.approx(0.93 * stats.t(4).sf(3.0) + 0.02 * (1 - sure_mg_l), rel=1e-6)


@pytest.mark.parametrize(("true", "n"), [(0, 5), (3, 9), (40, 40), (1, 200)])
def test_the_interval_of_a_share_is_wilsons(true: int, n: int) -> None:
    exact = stats.binomtest(true, n).proportion_ci(0.95, method="wilson")
    assert share_between(true, n) == pytest.approx((exact.low, exact.high), abs=1e-4)


def test_bins_hold_what_was_said_about_alike() -> None:
    said = [(0.01, False)] * 6 + [(0.04, True)] + [(0.3, False)] + [(0.97, True)] * 5
    low, middle, high = bins(said)
    assert (low.n, low.came_true, low.tells) == (7, 1, True)
    assert (middle.n, middle.tells) == (1, False)
    assert high.said == pytest.approx(0.97)
    assert high.high == 1.0
    assert bins([]) == ()


def test_the_next_test_is_that_of_which_least_is_known_beside_its_kit() -> None:
    wide = estimate(0.0, residual_mg_l=Quantiles(0.02, 0.2, 0.6))
    assert next_test(wide).figure == "total chlorine"
    assert next_test(estimate(0.0)).figure == "total ammonia"
    blind = estimate(0.0, residual_mg_l=Quantiles(0.02, 0.2, 0.6), sees=False)
    assert next_test(blind).figure == "total ammonia"
    known = estimate(0.0, total_ammonia_mg_l=Quantiles(0.09, 0.1, 0.11))
    assert next_test(known).figure is None
    assert next_test(known).sentence() == "no test would tell much now: test after the next refill"


def test_what_a_test_tells_is_that_of_two_normal_ones() -> None:
    """Entropy of a normal value less its entropy after a normal look at it."""
    said = Quantiles(1.0 - 0.16448536, 1.0, 1.0 + 0.16448536)  # a deviation of 0.1
    error = np.hypot(0.08, 0.15)
    exact = (
        stats.norm(scale=0.1).entropy() - stats.norm(scale=(0.1**-2 + error**-2) ** -0.5).entropy()
    )
    assert expected_nats(said, AMMONIA) == pytest.approx(exact, rel=0.02)
    assert expected_nats(said, CHLORINE) < exact
