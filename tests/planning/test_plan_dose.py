"""The dose: enough for the most the water may hold, where it goes, and what is left with it."""

from dataclasses import replace
from math import exp, hypot

import pytest
from hypothesis import given
from hypothesis import strategies as st

from afterfill.chemistry.neutraliser_agents import AGENTS, BEHAVIOURS
from afterfill.chemistry.standing import Interval
from afterfill.errors import ModelDomainError
from afterfill.planning.asked import PLACES, Asked, Bottle, DoseAt
from afterfill.planning.dose import dose_for, left_with, rounded_up_ml
from afterfill.planning.tap_water import ammonia_of_tap, residual_at_tap, residual_poured
from plan_waters import CHLORAMINE, CHLORINE, THIOSULFATE, planned

POURED = Interval(1.0, 2.0, 3.0)


def test_dose_is_the_nominal_need_of_the_most_times_the_safety_rounded_up() -> None:
    # 25 L x 3 mg/L / 40 mg per mL = 1.875 mL; weak by 15 % and measured to 10 %, at 95 %
    needed = 1.875 * exp(1.645 * hypot(0.15, 0.10))
    dose = planned().dose
    assert dose is not None
    assert needed == pytest.approx(2.522, abs=0.001)
    assert dose.ml == 2.6


def test_dose_into_the_tank_is_for_the_whole_tank() -> None:
    bucket, tank = planned().dose, planned(dose_at="tank").dose
    assert bucket is not None
    assert tank is not None
    assert tank.for_litres == 100.0
    assert tank.ml == pytest.approx(4.0 * 2.522, rel=0.1)


def test_label_dose_stands_beside_the_planned_one() -> None:
    dose = planned().dose
    assert dose is not None
    assert dose.label_ml == pytest.approx(25.0 * 5.0 / 200.0)
    assert dose.ml > 2.0 * 25.0 * 5.0 / 200.0


def test_unknown_strength_gives_no_dose_and_says_what_is_missing() -> None:
    plan = planned(bottle=Bottle("thiosulfate", None))
    assert plan.dose is None
    assert plan.residual.treated_mg_l is None
    assert [m.what for m in plan.missing] == ["the neutraliser's strength"]
    assert plan.over == ("residual",)


def test_no_neutraliser_is_not_safe_for_chloramine() -> None:
    plan = planned(bottle=None)
    assert plan.over == ("residual",)
    assert plan.judgement == "over-limits"


def test_ascorbate_is_not_counted_on_against_chloramine() -> None:
    plan = planned(bottle=replace(THIOSULFATE, agent="ascorbate"))
    assert plan.residual.treated_mg_l is not None
    assert plan.residual.treated_mg_l.low == 0.0
    assert plan.residual.treated_mg_l.high == plan.residual.untreated_mg_l.high
    assert plan.over == ("residual",)


def test_ascorbate_is_counted_on_against_chlorine() -> None:
    plan = planned(tap=CHLORINE, bottle=replace(THIOSULFATE, agent="ascorbate"))
    assert plan.residual.judged_mg_l == 0.0


def test_a_short_dose_of_ones_own_leaves_what_it_cannot_take() -> None:
    plan = planned(dose_ml=1.0)  # 40 mg for 25 L: 1.6 mg/L of the 3 it may hold
    assert plan.residual.treated_mg_l is not None
    assert plan.residual.treated_mg_l.middle == pytest.approx(0.25 * (2.0 - 1.6))
    assert plan.residual.treated_mg_l.high > 0.25 * (3.0 - 1.6)
    assert plan.over == ("residual",)
    assert plan.dose is not None
    assert plan.dose.needed_ml == 2.6


def test_undosed_residual_is_the_mixture() -> None:
    untreated = planned().residual.untreated_mg_l
    assert (untreated.middle, untreated.high) == pytest.approx((0.5, 0.75))


def test_untreated_water_reaches_the_limit_with_very_little() -> None:
    assert planned().residual.untreated_litres == pytest.approx(100.0 * 0.011 / 3.0)


@given(
    st.sampled_from(AGENTS),
    st.floats(0.05, 4.0),
    st.floats(1.0, 3.0),
    st.floats(1.0, 100.0),
    st.sampled_from(PLACES),
)
def test_planned_dose_takes_everything_that_it_can_act_on(
    agent: str, typical: float, factor: float, litres: float, place: DoseAt
) -> None:
    poured = Interval(typical / factor, typical, typical * factor)
    bottle = replace(THIOSULFATE, agent=agent)
    dose = dose_for(bottle, Asked(litres, dose_at=place), 100.0, "chloramine", poured)
    assert dose is not None
    left = left_with(bottle, dose, "chloramine", poured)
    acts = BEHAVIOURS[agent].minutes_combined is not None
    assert left.high == (0.0 if acts else poured.high)
    assert left.low <= left.middle <= left.high


@given(st.floats(1.0, 100.0), st.floats(0.0, 50.0), st.floats(0.0, 50.0))
def test_more_dose_never_leaves_more(litres: float, one: float, other: float) -> None:
    left = []
    for ml in sorted((one, other)):
        dose = dose_for(THIOSULFATE, Asked(litres, dose_ml=ml), 100.0, "chlorine", POURED)
        assert dose is not None
        left.append(left_with(THIOSULFATE, dose, "chlorine", POURED).high)
    assert left[1] <= left[0]


@given(st.floats(0.0, 1e4))
def test_rounding_goes_up_by_less_than_a_tenth_or_a_syringes_step(ml: float) -> None:
    assert ml * (1.0 - 1e-6) - 1e-7 <= rounded_up_ml(ml) <= max(1.1001 * ml, ml + 0.01)


def test_standing_lowers_the_dose_for_chlorine_and_hardly_for_chloramine() -> None:
    fresh, stood = (residual_poured(CHLORINE, h).high for h in (0.0, 24.0))
    assert stood == pytest.approx(0.5 * fresh)  # longest half-life 24 h, standing.py
    fresh, stood = (residual_poured(CHLORAMINE, h).high for h in (0.0, 24.0))
    assert stood > 0.9 * fresh


def test_residual_without_a_typical_value_is_nothing_to_the_most() -> None:
    tap = replace(CHLORAMINE, residual_mg_l=0.0, residual_max_mg_l=0.0)
    assert residual_at_tap(tap).high == 0.0
    assert planned(tap=tap).dose is not None


def test_nitrogen_of_the_tap_is_conserved() -> None:
    # what chloramine binds (1/5.062) and what stands beside it add up to chlorine over the ratio
    assert ammonia_of_tap(CHLORAMINE).middle == pytest.approx(2.0 / 4.5)
    assert ammonia_of_tap(CHLORINE).high == 0.0


def test_unknown_disinfectant_spans_both() -> None:
    nitrogen = ammonia_of_tap(replace(CHLORAMINE, disinfectant="unknown"))
    assert nitrogen.low == 0.0
    assert nitrogen.high == pytest.approx(3.0 / 4.5)


def test_a_ratio_that_cannot_be_is_refused() -> None:
    with pytest.raises(ModelDomainError, match="chlorine to nitrogen is 12"):
        planned(tap=replace(CHLORAMINE, chlorine_to_nitrogen=12.0))
