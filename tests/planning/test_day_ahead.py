"""Plans judge ammonia by the pH of the day ahead, against the tank's limit and EPA's criteria."""

from dataclasses import replace
from typing import Any

import pytest

from afterfill.chemistry.acid_base import nh3_fraction
from afterfill.chemistry.carbonate import Water, totals_of
from afterfill.chemistry.standing import Interval
from afterfill.planning.cautions import cautions
from afterfill.planning.day_ahead import criteria_at, ph_ahead
from afterfill.planning.found import Found, Upper
from afterfill.planning.refill import RefillPlan
from afterfill.planning.rescue import RescuePlan, plan_rescue
from afterfill.planning.rescue_advice import rescue_steps, rescue_tests
from afterfill.planning.shown import Shown
from plan_waters import BOUNDS, CHLORAMINE, TANK, THIOSULFATE, planned

HALF = Found(Interval(0.3, 0.5, 0.8), Upper(1.0, "log-normal"))
SOUR = replace(TANK, ph=7.0)  # 80 mg/L of alkalinity: far from the pH that air would give it
SULFITE = replace(THIOSULFATE, agent="sulfite")


def rescued(**changes: Any) -> RescuePlan:
    tank = replace(SOUR, **changes)
    return plan_rescue(tank, HALF, THIOSULFATE, BOUNDS, ammonia_counts_bound=True)


def sentences(plan: RefillPlan, severity: str) -> str:
    found = cautions(plan, TANK, CHLORAMINE, THIOSULFATE, BOUNDS, Shown())
    return " | ".join(c.sentence for c in found if c.severity == severity)


def test_a_rescue_counts_the_aeration_that_it_orders() -> None:
    # pH 7.0 and alkalinity 80 go to about 8.35 in air, where 25 degrees C has 11 % NH3 (Emerson
    # 1975, pK 9.246) in place of 0.6 %: 0.2 mg/L as N is then over the limit of 0.0156
    plan = rescued()
    ahead, free = plan.ph_ahead, plan.free_ammonia_mg_l
    assert ahead is not None
    assert free is not None
    assert 7.0 < ahead.now < 7.06  # thiosulfate gives a little alkalinity
    assert ahead.now < ahead.still < ahead.aerated == pytest.approx(8.35, abs=0.02)
    assert free.low == pytest.approx(0.02 * nh3_fraction(ahead.now, 25.0), rel=0.01)
    share_there = 1.0 / (1.0 + 10.0 ** (9.246 - ahead.aerated))
    assert free.high == pytest.approx(0.2 * share_there, rel=0.01)
    share = plan.change_share
    assert share is not None
    assert (1.0 - share) * free.high == pytest.approx(BOUNDS.free_ammonia_mg_l)


def test_a_rescue_says_what_aeration_does() -> None:
    steps = rescue_steps(rescued(), SOUR, THIOSULFATE, Shown())
    assert "after a day of it pH would be 8.4 and free ammonia 0.02" in steps[2]
    assert "even at pH 8.4" in steps[-1]
    assert "EPA 822-R-13-001" in rescue_tests(rescued())[1]


def test_a_tank_that_air_makes_more_acid_is_judged_as_it_is_now() -> None:
    plan = rescued(ph=8.9)
    assert plan.ph_ahead is not None
    assert plan.ph_ahead.aerated < plan.ph_ahead.highest == plan.ph_ahead.now
    assert "drives out" not in " ".join(rescue_steps(plan, SOUR, THIOSULFATE, Shown()))


def test_a_rescue_keeps_total_ammonia_at_epas_acute_criterion_too() -> None:
    lax = replace(BOUNDS, free_ammonia_mg_l=5.0)
    tank = replace(SOUR, ammonia_mg_l=Interval(4.0, 5.0, 6.0))
    plan = plan_rescue(tank, HALF, THIOSULFATE, lax, ammonia_counts_bound=True)
    assert plan.criteria is not None
    assert plan.change_share is not None
    left = 6.0 * (1.0 - plan.change_share)
    assert left == pytest.approx(plan.criteria.acute_mg_l)


@pytest.mark.parametrize("name", ["ph", "alkalinity_mg_l_caco3", "temperature_c", "ammonia_mg_l"])
def test_what_is_not_known_leaves_the_change_unknown(name: str) -> None:
    plan = rescued(**{name: None})
    assert plan.free_ammonia_mg_l is None
    assert plan.change_share is None


@pytest.mark.parametrize("celsius", [5.0, 25.0])
@pytest.mark.parametrize(("ph", "alkalinity"), [(6.5, 20.0), (7.4, 80.0), (8.2, 120.0)])
def test_strong_aeration_brings_a_refilled_tank_to_the_ph_of_air_within_a_day(
    ph: float, alkalinity: float, celsius: float
) -> None:
    tank = replace(TANK, ph=ph, alkalinity_mg_l_caco3=alkalinity, temperature_c=celsius)
    water = planned(0.001, tank=tank, bottle=None).water.ph
    assert water is not None
    ahead = ph_ahead(totals_of(Water(ph, alkalinity, alkalinity, celsius)))
    assert water.in_air - 0.02 < ahead.aerated < water.in_air + 0.005


def test_a_refill_whose_surplus_needs_air_is_judged_in_air() -> None:
    usual = planned()
    airy = planned(dose_ml=8.0, bottle=SULFITE)
    for plan, aerated in ((usual, False), (airy, True)):
        free, criteria = plan.ammonia.free_mg_l, plan.ammonia.criteria
        assert free is not None
        assert criteria is not None
        assert plan.water.ph is not None
        assert free.aerated is aerated
        assert (free.judged_mg_l == free.in_air.high) is aerated
        assert criteria.ph == plan.water.ph.highest(aerated=aerated)
    assert usual.over == ()
    assert usual.over_if_aerated == ("free ammonia",)
    assert airy.over_if_aerated == ()
    assert airy.over == ("free ammonia", "pH")  # air brings it to 8.35, over the limit of 8.2
    assert airy.largest_litres is not None
    assert airy.largest_litres < 25.0


def test_a_refill_names_epas_criteria_and_their_source() -> None:
    plan = planned()
    assert plan.ammonia.criteria is not None
    assert "EPA 822-R-13-001" in plan.ammonia.criteria.source
    assert "secondary" in plan.ammonia.criteria.source
    assert "EPA's criteria of 2013 at pH 7.6 are 5.6 mg/L as N" in sentences(plan, "note")


def test_in_acid_water_epas_thirty_days_are_stricter_than_the_limit() -> None:
    tank = replace(TANK, ph=6.6, ammonia_mg_l=Interval(1.0, 1.5, 2.0))
    plan = planned(5.0, tank=tank, tap=replace(CHLORAMINE, ph=6.6))
    assert "free ammonia" not in (*plan.over, *plan.over_before)
    assert "until the filter has brought it down" in sentences(plan, "warning")


def test_total_ammonia_over_epas_hour_is_over_the_limit() -> None:
    lax = replace(BOUNDS, free_ammonia_mg_l=5.0, ph=(6.0, 9.5))
    tap = replace(CHLORAMINE, ph=8.9, alkalinity_mg_l_caco3=150.0, uncombined_ammonia_mg_l=3.0)
    plan = planned(80.0, tap=tap, bounds=lax)
    assert plan.over == ("total ammonia",)
    assert "pour less" in sentences(plan, "danger")
    reach = next(r.litres for r in plan.reaches if r.rule == "total ammonia")
    assert reach is not None
    assert planned(reach, tap=tap, bounds=lax).over == ()
    assert planned(reach + 0.5, tap=tap, bounds=lax).over == ("total ammonia",)


def test_outside_their_range_there_are_no_criteria() -> None:
    assert criteria_at(9.1, 25.0) is None
    assert criteria_at(6.4, 25.0) is None
    assert criteria_at(7.0, 30.5) is None
    found = criteria_at(7.0, 20.0)
    assert found is not None
    # published: 17 and 1.9 (EPA 2013, secondary; two digits)
    assert (found.acute_mg_l, found.chronic_mg_l) == pytest.approx((17.0, 1.9), rel=0.03)
