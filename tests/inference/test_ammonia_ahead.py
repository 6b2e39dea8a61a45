"""The ammonia of the day to come, on tanks whose pH moves and whose filter is harmed."""

import math
from typing import Any

import numpy as np
import pytest

from afterfill.chemistry.acid_base import nh3_fraction
from afterfill.inference import ammonia, step
from afterfill.inference.ammonia import N
from afterfill.inference.belief import Belief
from afterfill.inference.filter.streams import Array, log_normal, normal, uniform
from afterfill.inference.model.particles import COMBINED, PEAK
from afterfill.inference.monitor import baseline, daily_course
from afterfill.inference.monitor.channels import Channel
from afterfill.inference.monitor.filter_harm import working_share
from afterfill.inference.monitor.watch import Watch
from afterfill.inference.posterior.ammonia_ahead import ammonia_ahead
from afterfill.inference.quantiles import quantiles_alike
from afterfill.inference.setup import Pour, Water
from afterfill.records import Input, KitResult, Quantiles, Quantity, Reading
from afterfill.tank_snapshot import from_bytes, to_bytes
from particle_sets import still
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

DAY_S = 86_400.0
HOURS = (0.0, 3.0, 6.0, 9.0, 12.0, 15.0, 18.0, 21.0, 24.0)
SETUP = setup_of(config_of())


def daily_ph(time_s: float) -> float:
    """A planted tank: 7.0 before the light, 8.0 in the afternoon."""
    return 7.5 + 0.5 * math.sin(2.0 * math.pi * (time_s % DAY_S) / DAY_S)


def planted(days: float) -> list[Input]:
    found: list[Input] = []
    for number in range(int(days * DAY_S / 120.0)):
        time_s = ZERO_S + 120.0 * number
        orp_mv = 300.0 - 25.0 * (daily_ph(time_s) - 7.5) + 0.5 * (-1) ** number
        shown: dict[Quantity, float] = {
            "temperature": 25.0, "ph": daily_ph(time_s), "orp": orp_mv,
        }  # fmt: skip
        found += [Reading(time_s, "t", quantity, value) for quantity, value in shown.items()]
    return found


def test_a_planted_tank_is_told_its_afternoon() -> None:
    """Three days are seen; in the night a kit shows 0.5 mg/L. The truth: the members' own totals
    at the pH that comes."""
    at_s = ZERO_S + 3.0 * DAY_S - 6.0 * HOUR_S
    readings = [r for r in planted(3.0) if r.time_s <= at_s]
    night_s = at_s if daily_ph(at_s) < 7.2 else at_s + 12 * HOUR_S
    readings = [r for r in planted(4.0) if r.time_s <= night_s]
    kit = KitResult(night_s, "t", total_ammonia_mg_l=0.5)
    state, _ = after(SETUP, [*readings, kit])
    ahead = ammonia_ahead(state.belief, night_s, HOURS)
    missed = 0
    for hours, nh3 in zip(HOURS, ahead, strict=True):
        total = ammonia.total_of(ammonia.aged(state.belief.ammonia, 3600.0 * hours)).q50
        truth = total * float(nh3_fraction(daily_ph(night_s + 3600.0 * hours), 25.0))
        assert nh3 is not None
        missed += not nh3.q05 <= truth <= nh3.q95
        assert nh3.q50 == pytest.approx(truth, rel=0.25)
    assert missed == 0
    at_present_ph = ahead[0]
    assert at_present_ph is not None
    assert max(n.q50 for n in ahead if n is not None) > 2.0 * at_present_ph.q50


def test_before_a_day_was_seen_the_ph_may_stay_or_rise() -> None:
    belief = Belief(ph=Channel(7.0, 100.0), temperature=Channel(25.0, 100.0))
    now, later = ammonia_ahead(belief, 100.0, (0.0, 24.0))
    assert now is not None
    assert later is not None
    assert now.q50 <= later.q50 < 3.0 * now.q50
    assert later.q95 > 3.0 * now.q95


def test_an_hour_with_another_ph_moves_its_place_alone() -> None:
    course = daily_course.unknown()
    for hour in range(24):
        assert daily_course.usual_at(course, np.array([0.0])) is None
        course = daily_course.followed(course, 7.0 + 0.01 * hour, hour * HOUR_S + 1800.0, 600.0)
    assert daily_course.usual_at(course, np.array([10.5 * HOUR_S])) == pytest.approx(7.10)
    assert daily_course.usual_at(course, np.array([11.0 * HOUR_S])) == pytest.approx(7.105)
    assert daily_course.usual_at(course, np.array([DAY_S])) == pytest.approx((7.0 + 7.23) / 2)
    moved = daily_course.followed(course, 8.0, 5.5 * HOUR_S, 3600.0)
    assert np.flatnonzero(moved != course).tolist() == [5]
    assert moved[5] == pytest.approx(7.05 + 0.95 * (1.0 - math.exp(-0.5)))  # 3600 s of 7200 s
    longer = daily_course.followed(course, 8.0, 5.5 * HOUR_S, 9000.0)  # an hour's share at most
    assert longer[5] == moved[5]
    assert daily_course.followed(course, 8.0, DAY_S, 3600.0)[0] > course[0]


def test_the_course_is_followed_once_in_ten_minutes_by_the_share_of_so_long() -> None:
    known = Belief(ph=Channel(7.0, 0.0), stepped_s=590.0, ph_course=np.full(24, 6.0))
    once = step.stepped(SETUP.inference, known, 600.0, None)
    assert once.ph_course[0] == pytest.approx(7.0 - math.exp(-600.0 / 7200.0))
    same = step.stepped(SETUP.inference, once, 1190.0, None)
    assert same.ph_course is once.ph_course
    twice = step.stepped(SETUP.inference, same, 1200.0, None)
    assert twice.ph_course[0] == pytest.approx(7.0 - math.exp(-1200.0 / 7200.0))


def held(combined: float = 0.0, peak: float = 0.0, zero_s: float = 0.0) -> Watch:
    """A watch whose particles all hold this [mg/L as Cl2]."""
    levels = {COMBINED: np.full(4, combined), PEAK: np.full(4, peak)}
    water = Pour(0.0, announced=True, water=Water())
    return Watch(water, zero_s, 0.0, still(4).with_rows(state=levels), 0.02, None, None, 0.0, 0.0)


def test_half_a_mg_per_l_costs_up_to_half_of_the_filter_and_it_fades_in_a_day() -> None:
    worst = uniform(N, "filter harm")
    assert working_share(held(combined=0.5), 0.0) == pytest.approx(1.0 - 0.5 * worst)
    peaked = working_share(held(combined=0.1, peak=1.5 * math.e, zero_s=50.0), 50.0 + DAY_S)
    assert peaked == pytest.approx(1.0 - 0.75 * worst)
    fresh = working_share(held(peak=1.5, zero_s=50.0), 0.0)  # the pour is still to come
    assert fresh == pytest.approx(1.0 - 0.75 * worst)


def met_at(ph: float | None, temperature_c: float | None, **more: Any) -> Belief:
    return Belief(ph=Channel(ph, 0.0), temperature=Channel(temperature_c, 0.0), **more)


def points_of(total: Array, ph: Array | float, temperature_c: float) -> Quantiles:
    return quantiles_alike(total * nh3_fraction(np.full(N, 0.0) + ph, np.full(N, temperature_c)))


def without_a_course(ph: float, hours: float) -> Array:
    """The pH of each member: what is left of the way to 8.3 is e-folding at a pace of its own, for
    half of them; beside it a Gaussian that forgets in six hours."""
    still_there = np.exp(-hours / log_normal(N, "pH goes back", 6.0, 1.0))
    wander = 0.08 * math.sqrt(1.0 - math.exp(-hours / 6.0)) * normal(N, "pH ahead")
    rises = np.maximum(2.0 * uniform(N, "pH unknown course") - 1.0, 0.0)
    return np.asarray(ph + max(8.3 - ph, 0.0) * rises * (1.0 - still_there) + wander)


@pytest.mark.parametrize("ph", [7.0, 9.0])
def test_without_a_course_half_of_the_members_rise_towards_air_each_at_its_pace(ph: float) -> None:
    belief = met_at(ph, 25.0)
    total = ammonia.aged(belief.ammonia, 10 * HOUR_S).total
    now, then = ammonia_ahead(belief, 0.0, (0.0, 10.0))
    assert now == pytest.approx(points_of(belief.ammonia.total, ph, 25.0))
    assert then == pytest.approx(points_of(total, without_a_course(ph, 10.0), 25.0))


def test_with_a_course_the_ph_goes_back_to_it_and_the_temperature_within_four_hours() -> None:
    course = 7.0 + 0.02 * np.arange(24.0)
    learnt = baseline.begun(300.0, 0.0)._replace(usual_c=24.0)
    belief = met_at(7.6, 28.0, ph_course=course, baseline=learnt)
    still_there = np.exp(-9.0 / log_normal(N, "pH goes back", 6.0, 1.0))
    wander = 0.08 * math.sqrt(1.0 - math.exp(-1.5)) * normal(N, "pH ahead")
    time_s = 0.5 * HOUR_S  # the middle of the first hour: 7.0, and 7.18 nine hours later
    (said,) = ammonia_ahead(belief, time_s, (9.0,))
    total = ammonia.aged(belief.ammonia, 9 * HOUR_S).total
    then_c = 24.0 + 4.0 * math.exp(-9.0 / 4.0)
    assert said == pytest.approx(points_of(total, 7.18 + 0.6 * still_there + wander, then_c))


def test_a_harmed_filter_is_expected_to_eat_less() -> None:
    belief = met_at(7.0, 25.0, watch=held(combined=0.5))
    working = 1.0 - 0.5 * uniform(N, "filter harm")
    total = ammonia.aged(belief.ammonia, 6 * HOUR_S, working).total
    (said,) = ammonia_ahead(belief, 0.0, (6.0,))
    assert said == pytest.approx(points_of(total, without_a_course(7.0, 6.0), 25.0))


@pytest.mark.parametrize(("ph", "temperature_c", "known"), [
    (None, 25.0, False), (7.0, None, False), (7.0, -0.1, False), (7.0, 50.1, False),
    (7.0, 0.0, True), (7.0, 50.0, True),
])  # fmt: skip
def test_where_ph_or_temperature_is_not_known_nothing_is_forecast(
    ph: float | None, temperature_c: float | None, known: bool
) -> None:
    said = ammonia_ahead(met_at(ph, temperature_c), 0.0, (0.0, 3.0))
    assert [nh3 is not None for nh3 in said] == [known, known]


@pytest.mark.parametrize(("ph", "held_to"), [(3.0, 4.0), (11.5, 10.5)])
def test_a_ph_that_no_tank_has_is_taken_for_the_last_that_one_may_have(
    ph: float, held_to: float
) -> None:
    (now,) = ammonia_ahead(met_at(ph, 25.0), 0.0, (0.0,))
    assert now == pytest.approx(points_of(Belief().ammonia.total, held_to, 25.0))


@pytest.mark.parametrize(("usual_c", "held_to"), [(-60.0, 0.0), (110.0, 50.0)])
def test_a_temperature_that_no_tank_has_is_held_within_the_relation(
    usual_c: float, held_to: float
) -> None:
    learnt = baseline.begun(300.0, 0.0)._replace(usual_c=usual_c)
    (said,) = ammonia_ahead(met_at(7.0, 25.0, baseline=learnt), 0.0, (40.0,))
    (at_it,) = ammonia_ahead(met_at(7.0, held_to), 0.0, (40.0,))
    assert said == pytest.approx(at_it)


def test_a_filter_that_met_chlorine_eats_less() -> None:
    """A quarter of raw chloramine at 2 mg/L: the filter of that evening is not the usual one."""
    said = refill(1, litres=25, minutes=10, neutraliser_ml=0)
    state, _ = after(SETUP, merged(story(2, [pour(1, 0.25, raw("chloramine", 2.0))]), [said]))
    time_s = ZERO_S + 2 * HOUR_S
    working = working_share(state.belief.holding, time_s)
    assert working is not None
    assert np.all((working > 0.0) & (working <= 1.0))
    assert np.median(working) < 0.9
    later = working_share(state.belief.holding, time_s + 10 * DAY_S)
    assert later is not None
    assert np.mean(later) > np.mean(working)
    assert working_share(None, time_s) is None
    healthy = ammonia.aged(state.belief.ammonia, 6 * HOUR_S)
    harmed = ammonia.aged(state.belief.ammonia, 6 * HOUR_S, working)
    assert np.all(harmed.total >= healthy.total - 1e-12)


def test_food_goes_on_while_the_filter_rests() -> None:
    """dT/dt = F - w k T with F = k steady: SciPy's integrator gives the same."""
    from scipy.integrate import solve_ivp

    start = ammonia.tested(ammonia.unmet(), 0.4)
    working = np.full(ammonia.N, 0.3)
    aged = ammonia.aged(start, 6 * HOUR_S, working)
    feed = start.k_per_s * start.steady
    solved = solve_ivp(
        lambda _, total: feed - working * start.k_per_s * total, (0.0, 6 * HOUR_S), start.total,
        rtol=1e-9, atol=1e-12,
    )  # fmt: skip
    assert np.allclose(aged.total, solved.y[:, -1], rtol=1e-6)


def test_the_course_survives_a_restart() -> None:
    state, _ = after(SETUP, planted(0.2))
    known = from_bytes(to_bytes(state)).belief.ph_course
    assert np.array_equal(known, state.belief.ph_course, equal_nan=True)
    assert np.isfinite(known).any()
    assert np.isnan(known).any()
