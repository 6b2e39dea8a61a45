"""The refill plan against worked balances, PHREEQC mixtures, and what physics demands."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from afterfill.chemistry.standing import Interval
from afterfill.errors import ModelDomainError
from afterfill.planning import practice
from afterfill.planning.ammonia_after import ammonia_after
from afterfill.planning.asked import TankBefore, Tap
from afterfill.planning.refill import RefillPlan
from afterfill.planning.tap_water import ammonia_of_tap
from afterfill.planning.water_after import water_after
from plan_waters import BOUNDS, CHLORAMINE, CHLORINE, TANK, THIOSULFATE, planned

SOFT = replace(TANK, alkalinity_mg_l_caco3=30.0)
NOTHING = Interval(0.0, 0.0, 0.0)


def emerson_share(ph: float, temperature_c: float) -> float:
    """Un-ionised share at no ionic strength: Emerson et al. 1975, J. Fish. Res. Board Can.
    32:2379-2383, pK = 0.09018 + 2729.92/T (constants secondary), written out again."""
    return 1.0 / (1.0 + math.pow(10.0, 0.09018 + 2729.92 / (temperature_c + 273.15) - ph))


@pytest.mark.parametrize(
    ("litres", "combined", "beside", "oxidant", "total"),
    [(25.0, 2.0, 0.1, 0.5, 0.1238), (50.0, 3.0, 0.3, 1.5, 0.4463), (10.0, 4.0, 0.0, 0.4, 0.0790)],
)
@pytest.mark.parametrize("ph", [7.0, 7.5, 8.0, 8.5])
def test_worked_refills_of_a_hundred_litres(
    litres: float, combined: float, beside: float, oxidant: float, total: float, ph: float
) -> None:
    # Balance f(C/5.062 + N) and Emerson's share; like waters, so that pH stands still. Ionic
    # strength of 40 mg/L alkalinity (0.0012) takes 3-4 % off the share of I = 0.
    tap = Tap("chloramine", combined, combined, 4.5, beside, ph, 40.0, 25.0)
    tank = TankBefore(100.0, NOTHING, ph, 25.0, 40.0)
    plan = planned(litres, tap=tap, tank=tank, bottle=None)  # whose alkalinity would count too
    assert plan.residual.untreated_mg_l.high == pytest.approx(oxidant)
    assert plan.ammonia.total_mg_l is not None
    assert plan.ammonia.total_mg_l.high == pytest.approx(total, abs=5e-5)
    assert plan.ammonia.free_mg_l is not None
    share = plan.ammonia.free_mg_l.at_once.high / total
    assert share == pytest.approx(emerson_share(ph, 25.0), rel=0.06)
    assert share < emerson_share(ph, 25.0)


@pytest.mark.parametrize(
    ("tank", "tap", "fraction", "ph"),
    [  # PHREEQC 3 (phreeqc package, Amm.dat), with hardness 90/150, 80/50, 80/50, 180/10 mg/L
        ((7.2, 60.0, 25.0), (7.8, 120.0, 15.0), 0.25, 7.362),
        ((7.0, 40.0, 25.0), (9.0, 35.0, 18.0), 0.30, 7.202),
        ((7.0, 40.0, 25.0), (9.0, 35.0, 18.0), 0.75, 8.046),
        ((8.3, 140.0, 28.0), (6.4, 15.0, 8.0), 0.40, 7.547),
    ],
)
def test_ph_of_worked_mixtures_lies_in_what_unknown_hardness_leaves_open(
    tank: tuple[float, float, float],
    tap: tuple[float, float, float],
    fraction: float,
    ph: float,
) -> None:
    before = TankBefore(100.0, NOTHING, tank[0], tank[2], tank[1])
    source = Tap(ph=tap[0], alkalinity_mg_l_caco3=tap[1], temperature_c=tap[2])
    water = water_after(before, source, fraction)
    assert water.ph is not None
    low, high = water.ph.closed_span
    assert low - 0.005 <= ph <= high + 0.005
    assert water.ph.closed == pytest.approx(ph, abs=0.06)
    assert water.temperature_c == pytest.approx(tank[2] + fraction * (tap[2] - tank[2]))


def test_unknown_hardness_counts_for_a_soft_alkaline_source() -> None:
    tap = replace(CHLORAMINE, ph=9.1, alkalinity_mg_l_caco3=43.0, temperature_c=20.0)
    wide = water_after(replace(TANK, ph=7.0, alkalinity_mg_l_caco3=54.0), tap, 0.75).ph
    usual = water_after(TANK, CHLORAMINE, 0.25).ph
    assert wide is not None
    assert usual is not None
    assert wide.closed_span[1] - wide.closed_span[0] > 0.5
    assert usual.closed_span[1] - usual.closed_span[0] < 0.03


@given(st.floats(6.5, 8.5), st.floats(20.0, 200.0), st.floats(5.0, 30.0))
def test_like_water_changes_nothing_that_has_settled(ph: float, alk: float, t: float) -> None:
    tank = TankBefore(100.0, NOTHING, ph, t, alk)
    water = water_after(tank, Tap(ph=ph, alkalinity_mg_l_caco3=alk, temperature_c=t), 0.3)
    assert water.ph is not None
    assert water.ph.closed == pytest.approx(ph, abs=1e-4)
    assert water.ph.settled == pytest.approx(ph, abs=1e-4)
    assert water.ph.alkalinity_mg_l_caco3 == pytest.approx(alk)


def test_a_tank_in_balance_with_air_settles_to_air() -> None:
    settled = water_after(replace(TANK, ph=8.3), CHLORAMINE, 0.5).ph
    assert settled is not None
    in_balance = water_after(replace(TANK, ph=settled.in_air), CHLORAMINE, 0.0).ph
    assert in_balance is not None
    assert abs(in_balance.settled - settled.in_air) < 0.01


@given(st.floats(0.0, 0.98), st.floats(0.001, 0.02))
def test_more_litres_bring_more_of_what_the_source_holds(fraction: float, more: float) -> None:
    nitrogen = ammonia_of_tap(CHLORAMINE)
    totals = [
        ammonia_after(TANK, nitrogen, f, water_after(TANK, CHLORAMINE, f), 0.0156).total_mg_l
        for f in (fraction, fraction + more)
    ]
    assert totals[0] is not None
    assert totals[1] is not None
    assert totals[0].middle < totals[1].middle
    assert totals[0].high < totals[1].high


@given(st.floats(0.0, 1.0), st.floats(0.0, 2.0), st.floats(0.0, 2.0))
def test_nitrogen_is_conserved(fraction: float, in_tank: float, in_tap: float) -> None:
    tank = replace(TANK, ammonia_mg_l=Interval(in_tank, in_tank, in_tank))
    tap_ammonia = Interval(in_tap, in_tap, in_tap)
    after = ammonia_after(tank, tap_ammonia, fraction, water_after(tank, CHLORAMINE, fraction), 1.0)
    assert after.total_mg_l is not None
    masses = 100.0 * (1.0 - fraction) * in_tank + 100.0 * fraction * in_tap
    assert 100.0 * after.total_mg_l.middle == pytest.approx(masses, abs=1e-9)


def test_plain_chlorine_dilutes_ammonia() -> None:
    plan = planned(tap=CHLORINE)
    assert plan.ammonia.brought_mg_l == NOTHING
    assert plan.ammonia.total_mg_l is not None
    assert plan.ammonia.total_mg_l.high == pytest.approx(0.75 * 0.2)
    assert plan.judgement == "within-limits"


def test_adding_counts_against_the_full_tank() -> None:
    added, replaced = planned(10.0, mode="add"), planned(10.0, mode="replace")
    assert added.fraction == replaced.fraction == 0.1


def test_more_than_the_tank_holds_is_refused() -> None:
    with pytest.raises(ModelDomainError, match="litres poured is 120"):
        planned(120.0)


def test_filter_hours_follow_the_excess_over_the_limit() -> None:
    plan = planned(50.0, tank=replace(TANK, ph=8.0))
    hours, free = plan.ammonia.hours_over_limit, plan.ammonia.free_mg_l
    assert hours is not None
    assert free is not None
    assert "free ammonia" in plan.over
    # first order at 1 per day, the slow end (constants.NITRIFICATION_PER_DAY): 24 ln(excess) hours
    excess = math.log(free.judged_mg_l / BOUNDS.free_ammonia_mg_l)
    assert hours.high == pytest.approx(24.0 * excess)
    assert hours.low <= hours.middle <= hours.high


def test_filter_hours_are_unknown_above_first_order() -> None:
    high = Interval(3.0, 4.0, 5.0)
    after = planned(tank=replace(TANK, ammonia_mg_l=high, ph=8.0)).ammonia
    assert after.hours_over_limit is None
    assert after.hours_unknown_because is not None
    assert "mg/L as N" in after.hours_unknown_because


def test_a_tank_over_its_limit_is_not_the_refills_doing_when_it_falls() -> None:
    worse = replace(TANK, ammonia_mg_l=Interval(0.5, 0.8, 1.5), ph=8.0)
    tap = replace(CHLORINE, ph=7.4)
    plan = planned(tap=tap, tank=worse)
    assert plan.over == ()
    assert plan.over_before == ("free ammonia",)
    assert plan.judgement == "over-before"


def test_a_tank_too_warm_that_the_refill_cools_is_over_before() -> None:
    assert planned(5.0, tank=replace(TANK, temperature_c=32.0)).over_before == ("temperature",)
    cooled = planned(60.0, tank=replace(TANK, temperature_c=32.0))
    assert "temperature" not in (*cooled.over, *cooled.over_before)


@pytest.mark.parametrize(
    ("tank", "named"),
    [
        (replace(TANK, ph=None), "the tank's pH"),
        (replace(TANK, alkalinity_mg_l_caco3=None), "the tank's alkalinity"),
        (replace(TANK, temperature_c=None), "the tank's temperature"),
    ],
)
def test_an_unknown_of_the_tank_leaves_ph_and_free_ammonia_unknown(
    tank: TankBefore, named: str
) -> None:
    plan = planned(tank=tank)
    assert plan.water.ph is None
    assert plan.ammonia.free_mg_l is None
    assert plan.ammonia.total_mg_l is not None
    assert plan.judgement == "cannot-tell"
    assert named in [m.what for m in plan.missing]
    assert reach(plan, "free ammonia") is None


def test_with_ph_unknown_the_ph_that_reaches_the_limit_is_told() -> None:
    plan = planned(tap=replace(CHLORAMINE, ph=None))
    at, total = plan.ammonia.ph_at_limit, plan.ammonia.total_mg_l
    after_c = plan.water.temperature_c
    assert at is not None
    assert total is not None
    assert after_c is not None
    assert total.high * emerson_share(at, after_c) == pytest.approx(BOUNDS.free_ammonia_mg_l)


def test_unknown_ammonia_of_the_tank_leaves_only_what_is_brought() -> None:
    plan = planned(tank=replace(TANK, ammonia_mg_l=None))
    assert plan.ammonia.total_mg_l is None
    assert plan.ammonia.brought_mg_l.middle == pytest.approx(0.25 * 2.0 / 4.5)
    assert plan.judgement == "cannot-tell"


def test_unknown_source_temperature_is_taken_as_the_tanks_and_its_step_stays_unknown() -> None:
    plan = planned(tap=replace(CHLORAMINE, temperature_c=None))
    assert plan.water.temperature_c == 25.0
    assert plan.water.temperature_step_c is None
    assert reach(plan, "step of temperature") is None
    assert plan.judgement == "cannot-tell"


def test_water_without_alkalinity_says_whose_it_is() -> None:
    plan = planned(tap=replace(CHLORAMINE, alkalinity_mg_l_caco3=0.0))
    because = plan.water.ph_unknown_because
    assert because is not None
    assert because.startswith("the source: pH 7.8 needs more alkalinity than 0 mg/L")
    assert plan.judgement == "cannot-tell"


def reach(plan: RefillPlan, rule: str) -> float | None:
    return next(r.litres for r in plan.reaches if r.rule == rule)


@pytest.mark.parametrize("rule", ["free ammonia", "pH", "step of pH", "step of temperature"])
def test_the_largest_refill_keeps_its_rule_and_a_little_more_does_not(rule: str) -> None:
    tap = replace(CHLORAMINE, ph=9.0, alkalinity_mg_l_caco3=120.0, temperature_c=12.0)
    litres = reach(planned(tap=tap), rule)
    assert litres is not None
    assert 1.0 < litres < 99.0
    assert keeps(planned(litres, tap=tap), rule)
    assert not keeps(planned(litres + 0.2, tap=tap), rule)


def keeps(plan: RefillPlan, rule: str) -> bool:
    if rule == "step of temperature":
        return abs(plan.water.temperature_step_c or 0.0) <= practice.TEMPERATURE_STEP_C
    if rule == "step of pH":
        return abs(plan.water.ph_step or 0.0) <= practice.PH_STEP
    return rule not in plan.over


def test_step_of_temperature_has_a_closed_form() -> None:
    assert reach(planned(), "step of temperature") == pytest.approx(200.0 / 3.0, abs=0.01)


def test_the_largest_refill_is_the_smallest_of_the_limits() -> None:
    plan = planned(tap=replace(CHLORAMINE, ph=9.0))
    limits = [r.litres for r in plan.reaches if r.kind == "limit" and r.litres is not None]
    assert plan.largest_litres == min(limits)


def test_a_cold_refill_that_leaves_the_limits_is_over_them() -> None:
    plan = planned(60.0, tap=replace(CHLORINE, temperature_c=8.0))
    assert plan.over == ("temperature",)
    assert plan.water.temperature_c == pytest.approx(25.0 - 0.6 * 17.0)


def test_sulfite_takes_oxygen_at_once_and_thiosulfate_more_of_it_over_days() -> None:
    sulfite = planned(90.0, dose_at="bucket", bottle=replace(THIOSULFATE, agent="sulfite"))
    plain = planned(90.0).side_effects
    assert sulfite.side_effects is not None
    assert plain is not None
    assert (sulfite.side_effects.pace, plain.pace) == ("at once", "over days")
    assert sulfite.side_effects.oxygen_at_risk_mg_l == sulfite.side_effects.oxygen_missing_mg_l
    # 9.1 mL x 40 / 100 L x exp(1.645 x 0.1803) are given at the most; 2.7 mg/L of chlorine at the
    # most is used (3.5 O2 per Cl2), 1.2 at the least, the rest is left (4 O2 per Cl2)
    given = 9.1 * 40.0 / 100.0 * math.exp(1.645 * math.hypot(0.15, 0.1))
    in_the_end = (3.5 * 2.7 + 4.0 * (given - 1.2)) * 31.998 / 70.906
    assert plain.oxygen_at_risk_mg_l == pytest.approx(in_the_end, rel=0.01)
    assert plain.oxygen_missing_mg_l == pytest.approx(0.138 * in_the_end, rel=0.01)


def test_the_surplus_is_diluted_by_the_tank() -> None:
    # 2 mL of 40 mg/mL into 25 L: 3.2 mg/L, strong by exp(1.645 x 0.2236) at the most, less the
    # 1.333 mg/L that the water holds at the least; a quarter of it in the tank; 0.2255 mg of
    # oxygen per mg Cl2 (O2 32.0 / 2 per Cl2 70.9)
    plan = planned(bottle=replace(THIOSULFATE, agent="sulfite"), dose_ml=2.0)
    surplus = 3.2 * math.exp(1.645 * math.hypot(0.2, 0.1)) - 2.0**2 / 3.0
    assert plan.side_effects is not None
    assert plan.side_effects.oxygen_at_risk_mg_l == pytest.approx(
        0.25 * surplus * 16.0 / 70.906, rel=0.01
    )


def test_metabisulfite_lowers_alkalinity_and_ph_and_thiosulfate_raises_them() -> None:
    # Protons per NH2Cl +1 and -2 (balanced reactions): 3 mg/L Cl2 is 42.3 umol/L, 2.117 mg/L CaCO3
    acid = planned(bottle=replace(THIOSULFATE, agent="metabisulfite"), tank=SOFT).water.ph
    base = planned(tank=SOFT).water.ph
    plain = planned(bottle=None, tank=SOFT).water.ph
    assert acid is not None
    assert base is not None
    assert plain is not None
    taken = plain.alkalinity_mg_l_caco3 - acid.alkalinity_mg_l_caco3
    assert taken == pytest.approx(0.25 * 2.117, rel=0.01)
    assert acid.closed < plain.closed < base.closed


def test_free_ammonia_at_once_spans_the_unknown_hardness() -> None:
    tap = replace(CHLORAMINE, ph=9.1, alkalinity_mg_l_caco3=43.0)
    plan = planned(75.0, tank=replace(SOFT, ph=7.0), tap=tap)
    ph, free, total = plan.water.ph, plan.ammonia.free_mg_l, plan.ammonia.total_mg_l
    assert ph is not None
    assert free is not None
    assert total is not None
    after_c = plan.water.temperature_c or 0.0
    for amount, at, shown in (
        (total.low, ph.closed_span[0], free.at_once.low),
        (total.high, ph.closed_span[1], free.at_once.high),
    ):
        assert shown == pytest.approx(amount * emerson_share(at, after_c), rel=0.06)


def test_the_heater_brings_the_tank_back_before_it_settles() -> None:
    plan = planned(tap=replace(CHLORAMINE, temperature_c=10.0))
    ph, free, total = plan.water.ph, plan.ammonia.free_mg_l, plan.ammonia.total_mg_l
    assert ph is not None
    assert free is not None
    assert total is not None
    assert free.settled.high == pytest.approx(
        total.high * emerson_share(ph.settled, 25.0), rel=0.06
    )
    like = water_after(TANK, replace(CHLORAMINE, ph=7.4, alkalinity_mg_l_caco3=80.0), 0.25).ph
    cold = replace(CHLORAMINE, ph=7.4, alkalinity_mg_l_caco3=80.0, temperature_c=5.0)
    cooled = water_after(TANK, cold, 0.25).ph
    assert like is not None
    assert cooled is not None
    assert cooled.settled == pytest.approx(like.settled, abs=0.002)


def test_side_effects_of_an_unknown_make_are_unknown() -> None:
    effects = planned(bottle=replace(THIOSULFATE, agent="other")).side_effects
    assert effects is not None
    assert effects.oxygen_at_risk_mg_l is None
    assert effects.alkalinity_used_mg_l_caco3 is None
    known = [
        planned(bottle=replace(THIOSULFATE, agent=agent)).side_effects
        for agent in ("thiosulfate", "sulfite", "metabisulfite", "ascorbate")
    ]
    # judged as the worst that is known, and its strength is less sure: never better than those
    assert effects.oxygen_missing_mg_l > max(it.oxygen_missing_mg_l for it in known if it)
    assert effects.alkalinity_later_mg_l_caco3 > max(
        it.alkalinity_later_mg_l_caco3 for it in known if it
    )


def test_chlorine_goes_by_standing_and_chloramine_does_not() -> None:
    assert planned(tap=CHLORINE).waiting.hours is not None
    assert planned().waiting.hours is None


def test_chlorine_that_stood_long_enough_needs_no_dose() -> None:
    plan = planned(tap=CHLORINE, bottle=None, standing_hours=200.0)
    assert plan.residual.judged_mg_l <= BOUNDS.residual_oxidant_mg_l
    assert plan.over == ()
