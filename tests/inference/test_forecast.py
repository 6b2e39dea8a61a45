from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest

from afterfill.inference.belief import Belief
from afterfill.inference.posterior.forecast import (
    HOURS,
    ammonia_peak,
    below_limit_h,
    forecast,
    forecast_record,
)
from afterfill.records import Forecast
from afterfill.tank import TankState, folded
from tank_stories import (
    HOUR_S,
    ZERO_S,
    after,
    config_of,
    merged,
    pour,
    raw,
    refill,
    setup_of,
    story,
)

SETUP = setup_of(config_of())


@pytest.fixture(scope="module")
def carried_over() -> tuple[Belief, float]:
    """Belief two hours after raw chloramine went in (0.44 mg/L, decaying 0.35 per h)."""
    said = refill(1, litres=25, minutes=10, neutraliser_ml=0)
    state, _ = after(SETUP, merged(story(3, [pour(1, 0.25, raw("chloramine", 2.0))]), [said]))
    return state.belief, ZERO_S + 3 * HOUR_S


def test_the_outlook_begins_with_the_present(carried_over: tuple[Belief, float]) -> None:
    belief, time_s = carried_over
    assert belief.watch is not None
    outlooks = forecast(belief, time_s)
    assert [o.hours for o in outlooks] == list(HOURS)
    assert 0.03 < outlooks[0].residual_mg_l.q50 < 0.6


def test_a_residual_only_falls_and_the_truth_lies_in_the_interval(
    carried_over: tuple[Belief, float],
) -> None:
    outlooks = forecast(*carried_over)
    middles = [o.residual_mg_l.q50 for o in outlooks]
    assert middles == sorted(middles, reverse=True)
    truth_mg_l = 0.44 * 2.718281828 ** (-0.35 * (1.8 + 2.0))  # two hours on
    then = next(o for o in outlooks if o.hours == 2.0).residual_mg_l
    assert then.q05 < truth_mg_l < then.q95


def test_the_times_below_a_limit_are_in_order(carried_over: tuple[Belief, float]) -> None:
    middle_h, high_h = below_limit_h(forecast(*carried_over), 0.25)
    assert middle_h is not None
    assert high_h is None or high_h >= middle_h
    assert below_limit_h(forecast(*carried_over), 10.0) == (0.0, 0.0)


def test_without_a_watch_only_what_is_left_fades() -> None:
    outlooks = forecast(Belief(), 1000.0)
    assert all(o.residual_mg_l[:2] == (0.0, 0.0) for o in outlooks)
    traces = [o.residual_mg_l.q95 for o in outlooks]  # too little for a probe to tell from nothing
    assert 0.0 < traces[0] <= 0.02
    assert traces == sorted(traces, reverse=True)
    assert ammonia_peak(outlooks) is None  # no pH, no temperature: not known


def test_ammonia_peaks_soon_when_a_filter_eats_it(carried_over: tuple[Belief, float]) -> None:
    peak = ammonia_peak(forecast(*carried_over))
    assert peak is not None
    assert peak[0] <= 3.0  # while the pH may rise, the filter is at work
    assert peak[1] > 0.0


def test_the_record_is_the_outlook_in_times(carried_over: tuple[Belief, float]) -> None:
    belief, time_s = carried_over
    told = forecast_record(SETUP.inference, belief, time_s)
    middle_h, high_h = below_limit_h(forecast(belief, time_s), SETUP.inference.limit_mg_l)
    for hours, then_s in (
        (middle_h, told.residual_below_limit_s),
        (high_h, told.residual_surely_below_limit_s),
    ):
        assert (hours is None) == (then_s is None)
        if hours is not None and then_s is not None:
            assert then_s == pytest.approx(time_s + 3600.0 * hours, abs=31.0)
    assert told.free_ammonia_peak_mg_l is not None
    assert told.free_ammonia_peak_s is not None


def test_without_ph_the_ammonia_to_come_is_unknown_and_blind_the_residual() -> None:
    told = forecast_record(SETUP.inference, Belief(), 1000.0)
    assert told.free_ammonia_peak_mg_l is None
    assert told.free_ammonia_peak_s is None
    assert not told.sees
    assert told.residual_below_limit_s is None
    assert told.residual_surely_below_limit_s is None


def test_the_fold_foretells_each_half_hour() -> None:
    state, told = TankState(), []
    for record in story(2, []):
        state, found = folded(SETUP, state, record)
        told += [output.time_s for output in found if isinstance(output, Forecast)]
    assert len(told) >= 4
    assert all(0.0 < b - a <= 1860.0 for a, b in pairwise(told))


@pytest.mark.parametrize("is_over", [False, True])
@pytest.mark.parametrize(
    ("known", "named"),
    [
        ({}, True),
        ({"reported": False}, False),
        ({"reported": False, "moved_kit": 1.0}, False),
        ({"said": "cannot-tell"}, False),
        ({"said": "possible"}, False),
        ({"said": None}, False),
        ({"said": "cannot-tell", "moved_kit": 1.0}, True),
    ],
)
def test_an_end_that_lies_ahead_is_named_only_where_the_refill_was_found_or_tested(
    carried_over: tuple[Belief, float], known: dict[str, Any], named: bool, is_over: bool
) -> None:
    """The same water; in virtual homes an end of water not believed in came too early. That it is
    below the limit already is told anyway."""
    belief, time_s = carried_over
    assert belief.watch is not None
    assert belief.watch.said == "carried-over"
    holding = replace(belief.watch, **known)
    belief = belief._replace(
        **({"watch": None, "past": holding} if is_over else {"watch": holding})
    )
    a_little_less = 0.9 * forecast(belief, time_s)[0].residual_mg_l.q50
    ahead = forecast_record(replace(SETUP.inference, limit_mg_l=a_little_less), belief, time_s)
    assert (ahead.residual_below_limit_s is not None) == named
    assert ahead.residual_below_limit_s is None or ahead.residual_below_limit_s > time_s
    below = forecast_record(replace(SETUP.inference, limit_mg_l=10.0), belief, time_s)
    assert below.residual_surely_below_limit_s == below.residual_below_limit_s == time_s
