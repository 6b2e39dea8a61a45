"""The rescue after a carry-over: dosed on the 99 % side, and told what follows."""

from dataclasses import replace
from math import inf
from statistics import NormalDist

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from afterfill.chemistry.neutraliser_agents import AGENTS
from afterfill.chemistry.standing import Interval
from afterfill.chemistry.toxicity import TimeLeft
from afterfill.errors import ModelDomainError
from afterfill.planning.asked import Bottle
from afterfill.planning.found import Found, Upper, found_by_kit, upper_of
from afterfill.planning.rescue import RescuePlan, plan_rescue, rescue_dose_ml
from afterfill.planning.rescue_advice import (
    rescue_donts,
    rescue_steps,
    rescue_tests,
    time_words,
    upper_words,
)
from afterfill.planning.rescue_words import AtHand, rescue_words, rescues
from afterfill.planning.shown import Shown
from plan_waters import BOUNDS, TANK, THIOSULFATE

HALF = Found(Interval(0.3, 0.5, 0.8), Upper(1.0, "log-normal"))


def rescued(found: Found = HALF, **changes: object) -> RescuePlan:
    tank = changes.get("tank", TANK)
    bottle = changes.get("bottle", THIOSULFATE)
    assert isinstance(tank, type(TANK))
    assert bottle is None or isinstance(bottle, Bottle)
    counts = bool(changes.get("counts_bound", False))
    nitrogen = changes.get("next_water", 0.0)
    assert isinstance(nitrogen, float)
    return plan_rescue(
        tank,
        found,
        bottle,
        BOUNDS,
        ammonia_counts_bound=counts,
        next_water_ammonia_mg_l=nitrogen,
    )


@given(st.floats(0.01, 1.0), st.floats(0.01, 1.0))
def test_a_log_normal_is_extended_to_its_own_99_percent_point(median: float, sigma: float) -> None:
    def at(p: float) -> float:
        return median * float(pow(2.718281828459045, sigma * NormalDist().inv_cdf(p)))

    upper = upper_of(Interval(at(0.05), median, at(0.95)))
    assert upper.by == "log-normal"
    assert upper.mg_l == pytest.approx(at(0.99), rel=2e-3)


@given(st.floats(0.0, 2.0), st.floats(0.0, 2.0), st.floats(0.0, 4.0))
def test_the_upper_end_is_never_below_the_95_percent_point(
    one: float, other: float, most: float
) -> None:
    middle, high = sorted((one, other))
    assert upper_of(Interval(0.0, middle, high), most).mg_l >= high


def test_a_belief_that_is_mostly_nothing_is_extended_as_a_normal() -> None:
    upper = upper_of(Interval(0.0, 0.0, 0.3))
    assert upper.by == "normal"
    assert upper.mg_l == pytest.approx(0.3 * 2.326 / 1.645)


def test_a_tank_cannot_hold_more_than_its_source() -> None:
    wide = Interval(0.0, 0.001, 0.5)
    assert upper_of(wide, inf).mg_l > 4.0
    assert upper_of(wide, 3.0) == Upper(3.0, "most-the-source-holds")


def test_the_dose_covers_the_upper_end_for_the_whole_tank() -> None:
    # 100 L x 1.0 mg/L / 40 mg per mL = 2.5 mL, times 1.5
    assert rescued().dose_ml == 3.8
    assert rescue_dose_ml(100.0, 1.0, 40.0) == pytest.approx(3.75)


def test_a_bottle_of_unknown_make_gets_a_larger_factor() -> None:
    plan = rescued(bottle=replace(THIOSULFATE, agent="other"))
    assert plan.safety == pytest.approx(2.01, abs=0.01)  # exp(2.326 x 0.30)
    assert plan.dose_ml == 5.1


@given(st.floats(0.0, 4.0), st.floats(0.0, 1.0))
def test_more_residual_never_means_less_dose(residual: float, more: float) -> None:
    doses = [rescued(found_by_kit(r)).dose_ml for r in (residual, residual + more)]
    assert doses[0] is not None
    assert doses[1] is not None
    assert doses[0] <= doses[1]


def test_without_a_known_strength_there_is_no_dose_but_advice() -> None:
    plan = rescued(bottle=None)
    assert plan.dose_ml is None
    assert "as its label says" in " ".join(rescue_steps(plan, TANK, None, Shown()))


def test_released_nitrogen_is_that_of_the_chloramine() -> None:
    assert rescued().released_mg_l == pytest.approx(1.0 / 5.062, rel=1e-3)
    free = replace(HALF, free_share=1.0)
    assert rescued(free).released_mg_l == 0.0


def test_a_kits_ammonia_gets_the_released_on_top_and_an_estimate_does_not() -> None:
    kit, estimate = rescued().total_ammonia_mg_l, rescued(counts_bound=True).total_ammonia_mg_l
    assert kit is not None
    assert estimate is not None
    assert kit.high == pytest.approx(0.2 + 1.0 / 5.062, rel=1e-3)
    assert estimate.high == 0.2


def test_a_change_of_water_brings_ammonia_exactly_to_its_limit() -> None:
    tank = replace(TANK, ammonia_mg_l=Interval(0.5, 0.8, 1.2), ph=8.0)
    plan = rescued(tank=tank, counts_bound=True, next_water=0.1)
    share, free = plan.change_share, plan.free_ammonia_mg_l
    assert share is not None
    assert free is not None
    assert free.high > BOUNDS.free_ammonia_mg_l
    after = 1.2 + share * (0.1 - 1.2)
    assert after * free.high / 1.2 == pytest.approx(BOUNDS.free_ammonia_mg_l)


def test_a_source_with_as_much_ammonia_cannot_help() -> None:
    tank = replace(TANK, ammonia_mg_l=Interval(0.5, 0.8, 1.2), ph=8.0)
    plan = rescued(tank=tank, next_water=0.9)
    assert plan.change_share is None
    assert not plan.change_helps
    assert "cannot bring ammonia" in rescue_steps(plan, tank, THIOSULFATE, Shown())[-1]


def test_without_ph_the_change_is_unknown() -> None:
    tank = replace(TANK, ph=None)
    plan = rescued(tank=tank)
    assert plan.change_share is None
    assert plan.free_ammonia_mg_l is None
    assert "not known" in rescue_steps(plan, tank, THIOSULFATE, Shown())[-1]


def test_harm_is_likely_well_before_half_are_dead() -> None:
    # Farrell et al. 2001, abstract read: LC50 [ug/L] = 7244 t^-0.4525, so half of chinook salmon
    # are dead after t = (7244/100)^(1/0.4525) at 0.1 mg/L; no deadline is read off that
    little = Found(Interval(0.05, 0.1, 0.2), Upper(0.3, "log-normal"), 0.0, 0.0)
    fish = rescued(little).fish
    assert fish is not None
    half_dead_min = (7244.0 / 100.0) ** (1.0 / 0.4525)
    assert fish.middle.minutes == pytest.approx(half_dead_min / 2.0 ** (1.0 / 0.4525))
    assert fish.middle.minutes < 0.22 * half_dead_min
    # sensitive fish at the upper end: 2 x 3.3 x 0.3 mg/L
    assert fish.upper.minutes == pytest.approx((7244.0 / 1980.0) ** (1.0 / 0.4525))


def test_a_kit_says_free_or_combined_by_the_kind_of_the_source() -> None:
    times = {}
    for kind in ("chlorine", "chloramine", "unknown"):
        fish = rescued(found_by_kit(0.1, kind)).fish
        assert fish is not None
        times[kind] = fish.middle.minutes
    # at pH 7.4, 25 degrees C 57.8 % is HOCl (Morris 1966), four times as harmful: 2.73 times
    assert times["chloramine"] / times["chlorine"] == pytest.approx(2.73 ** (1 / 0.4525), rel=0.03)
    assert times["unknown"] == times["chlorine"]


def test_without_ph_free_chlorine_is_taken_as_its_worst_form() -> None:
    known = rescued(found_by_kit(0.1, "chlorine")).fish
    unknown = rescued(found_by_kit(0.1, "chlorine"), tank=replace(TANK, ph=None)).fish
    assert known is not None
    assert unknown is not None
    assert unknown.middle.minutes < known.middle.minutes


@pytest.mark.parametrize(
    "found",
    [
        found_by_kit(0.0, "chlorine"),
        Found(Interval(0.0, 0.001, 0.004), Upper(0.008, "log-normal")),
    ],
)
def test_where_there_is_nothing_to_take_away_there_is_no_dose(found: Found) -> None:
    plan = rescued(found)
    assert plan.dose_ml == 0.0
    assert plan.oxygen_missing_mg_l == plan.released_mg_l == 0.0
    steps = rescue_steps(plan, TANK, THIOSULFATE, Shown())
    assert "Give no neutraliser" in steps[1]
    assert not [line for line in steps if "Put " in line]


def test_a_rescue_is_aerated_only_as_long_as_the_tank_keeps_its_limits() -> None:
    sour = replace(TANK, ph=6.8)  # all day in air would bring it to 8.35, over the limit of 8.2
    plan = rescued(tank=sour, counts_bound=True)
    assert plan.ph_ahead is not None
    assert plan.air is not None
    assert plan.free_as_advised_mg_l is not None
    assert plan.ph_ahead.highest > BOUNDS.ph[1]
    assert 1.0 <= plan.air.hours < 24.0
    assert plan.air.ph <= BOUNDS.ph[1]
    assert plan.free_as_advised_mg_l <= BOUNDS.free_ammonia_mg_l
    assert plan.over == ()
    assert f"for {plan.air.hours:g} h and then as usual" in " ".join(
        rescue_steps(plan, sour, THIOSULFATE, Shown())
    )


def test_a_rescue_in_soft_water_is_judged_by_its_acid() -> None:
    soft = replace(TANK, ph=6.6, alkalinity_mg_l_caco3=8.0)
    plan = rescued(tank=soft, bottle=replace(THIOSULFATE, agent="metabisulfite"))
    # by hand: 1 mg/L of chloramine takes 1 proton, the surplus of 1.5 mg/L x 1.44 - 0.3 another
    # each, 0.706 mg/L CaCO3 per mg/L; its ammonia 0.198 x 7.14
    acid = 0.706 * (1.0 + 1.52 * 1.4447 - 0.3) + 0.1975 * 7.145
    assert plan.alkalinity_later_mg_l_caco3 == pytest.approx(acid, rel=0.06)
    assert plan.ph_lowest is not None
    assert plan.ph_lowest < 6.35


def test_where_the_waters_chemistry_ends_the_rescue_does_not() -> None:
    tank = replace(TANK, ph=5.85, alkalinity_mg_l_caco3=2.0, temperature_c=0.0)
    for agent in AGENTS:
        plan = rescued(found_by_kit(50.0), tank=tank, bottle=replace(THIOSULFATE, agent=agent))
        assert plan.dose_ml is not None


some = st.none() | st.floats(0.0, 14.0)


@settings(max_examples=150, deadline=None)
@given(
    some,
    st.none() | st.floats(-5.0, 60.0),
    st.floats(0.0, 1000.0),
    st.floats(0.0, 5.0),
    st.floats(0.0, 5.0),
    st.sampled_from([*AGENTS, None]),
)
def test_any_tank_gets_a_rescue_that_can_be_told(
    ph: float | None, celsius: float | None, alkalinity: float, one: float, other: float,
    agent: str | None,
) -> None:  # fmt: skip
    """An alarm at night asks for it in the fold, where nothing may fail."""
    tank = replace(TANK, ph=ph, temperature_c=celsius, alkalinity_mg_l_caco3=alkalinity)
    bottle = None if agent is None else replace(THIOSULFATE, agent=agent, name="n")
    middle, high = sorted((one, other))
    found = Found(Interval(0.0, middle, high), upper_of(Interval(0.0, middle, high), 4.0))
    at_hand = AtHand(BOUNDS, alkalinity, () if bottle is None else (bottle,))
    plans = rescues(at_hand, tank, found)
    words = rescue_words(at_hand, tank, found, plans)
    assert "None" not in words
    assert "nan" not in words.split()
    assert words.startswith(("put ", "no neutraliser", "how much cannot be told"))
    for line in (*rescue_steps(plans[0], tank, bottle, Shown()), *rescue_tests(plans[0], bottle)):
        assert "None" not in line
    if plans[0].dose_ml:
        strength = 40.0
        assert plans[0].dose_ml * strength >= 1.5 * 100.0 * found.upper.mg_l * 0.999


def test_free_chlorine_leaves_fish_less_time_than_chloramine() -> None:
    little = replace(HALF, residual_mg_l=Interval(0.05, 0.1, 0.2))
    as_free = rescued(replace(little, free_share=1.0)).fish
    as_combined = rescued(replace(little, free_share=0.0, free_most=0.0)).fish
    assert as_free is not None
    assert as_combined is not None
    assert as_free.middle.minutes < as_combined.middle.minutes


def test_a_kit_below_nothing_is_refused() -> None:
    with pytest.raises(ModelDomainError, match="give 0 or more"):
        found_by_kit(-0.1)


def test_advice_stops_the_water_first_and_doses_before_it_airs() -> None:
    steps = rescue_steps(rescued(), TANK, THIOSULFATE, Shown("us"))
    assert steps[0].startswith("Stop any water")
    assert "3.8 mL" in steps[1]
    assert "26.4 US gal (100 L)" in steps[1]
    assert steps[2].startswith("Aerate strongly")


def test_the_first_thing_not_to_do_is_more_untreated_water() -> None:
    assert "more untreated water" in rescue_donts()[0]


def test_tests_are_for_total_chlorine_after_the_agents_time() -> None:
    first = rescue_tests(rescued())[0]
    assert first.startswith("DPD total chlorine")
    assert "10 min after the dose" in first


def test_ascorbate_is_warned_of() -> None:
    bottle = replace(THIOSULFATE, agent="ascorbate")
    plan = rescued(bottle=bottle)
    assert plan.minutes is None
    assert "Ascorbate may not" in " ".join(rescue_steps(plan, TANK, bottle, Shown()))


def test_the_upper_end_says_how_it_was_extended() -> None:
    assert upper_words(rescued()) == ("1 mg/L (a cautious upper estimate)")


def test_long_times_are_told_in_days() -> None:
    assert time_words(TimeLeft("more than", 14400.0)) == "more than 10 days"
