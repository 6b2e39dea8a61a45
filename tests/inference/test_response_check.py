"""What one measured step teaches of a probe's law."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from afterfill.inference.calibration.learnt import PARAMETERS, Learnt
from afterfill.inference.calibration.response_check import (
    step_expected_mv,
    step_sigma,
    updated_by_check,
)
from afterfill.inference.model.electrode import LOGARITHMIC
from afterfill.inference.posterior.detection_limit import detection_limit_mg_l
from afterfill.records import Input, ResponseCheck, Service
from afterfill.tank import TankState, folded
from tank_stories import HOUR_S, ZERO_S, after, config_of, setup_of, story

SETUP = setup_of(config_of())
CHLORAMINE = ResponseCheck(0.0, "t", 100.0, 3.0, 0.0, 2.0, True)
CHLORINE = replace(CHLORAMINE, free_chlorine_mg_l=1.0, combined_chlorine_mg_l=0.0)


def floor(learnt: Learnt, *, combined: bool) -> float:
    return detection_limit_mg_l(learnt, LOGARITHMIC, 1.0, True, 0.5, combined)


@given(step_mv=st.floats(30.0, 300.0), chloramine=st.booleans(), measured=st.booleans())
def test_the_learnt_law_gives_the_step_that_was_measured(
    step_mv: float, chloramine: bool, measured: bool
) -> None:
    check = replace(CHLORAMINE if chloramine else CHLORINE, step_mv=step_mv, measured=measured)
    after = updated_by_check(Learnt(), check)
    off = abs(math.log(step_expected_mv(after, check) / step_mv))
    assert off <= 2.0 * step_sigma(after, check)
    before_off = abs(np.log(step_expected_mv(Learnt(), check) / step_mv))
    assert off <= before_off + 1e-9


@pytest.mark.parametrize("check", [CHLORINE, CHLORAMINE], ids=["chlorine", "chloramine"])
def test_a_step_as_expected_moves_nothing_and_lowers_the_floor(check: ResponseCheck) -> None:
    check = replace(check, step_mv=step_expected_mv(Learnt(), check))
    after = updated_by_check(Learnt(), check)
    assert after.mean == pytest.approx(Learnt().mean)
    assert np.all(after.sd <= Learnt().sd)
    combined = check.combined_chlorine_mg_l > 0.0
    assert floor(after, combined=combined) < 0.8 * floor(Learnt(), combined=combined)


def test_a_lively_probe_has_a_lower_floor_than_a_dull_one() -> None:
    lively, dull = (
        updated_by_check(Learnt(), replace(CHLORAMINE, step_mv=step)) for step in (180.0, 40.0)
    )
    assert floor(lively, combined=True) < 0.5 * floor(Learnt(), combined=True)
    assert floor(dull, combined=True) > 3.0 * floor(lively, combined=True)


def test_a_measured_water_teaches_more_than_a_typical_one() -> None:
    by_kit, by_report = (
        updated_by_check(Learnt(), replace(CHLORAMINE, measured=measured))
        for measured in (True, False)
    )
    assert np.all(by_kit.sd <= by_report.sd)
    assert by_kit.sd[1] < by_report.sd[1]


def test_a_free_chlorine_check_says_nothing_of_chloramine_nor_of_the_lags() -> None:
    after = updated_by_check(Learnt(), CHLORINE)
    for name in ("w_combined", "rise_s", "fall_s"):
        place = PARAMETERS.index(name)
        assert after.mean[place] == Learnt().mean[place]
        assert after.sd[place] == Learnt().sd[place]


def test_checks_that_agree_narrow_further_and_a_second_truth_is_believed() -> None:
    once = updated_by_check(Learnt(), CHLORAMINE)
    twice = updated_by_check(once, CHLORAMINE)
    assert np.all(twice.sd <= once.sd)
    assert step_expected_mv(twice, CHLORAMINE) == pytest.approx(100.0, rel=0.02)


def test_the_fold_takes_a_check_up_and_the_probe_has_to_settle() -> None:
    at_s = ZERO_S + 0.5 * HOUR_S
    check = replace(CHLORAMINE, time_s=at_s)
    inputs: list[Input] = [r for r in story(1, []) if r.time_s < at_s]
    state, _ = after(SETUP, [*inputs, Service(at_s - 600.0, "t", "probe", at_s), check])
    assert state.belief.learnt.mean == pytest.approx(updated_by_check(Learnt(), check).mean)
    assert state.belief.baseline is None
    assert state.belief.sight.settling_until_s == at_s + 3 * HOUR_S
    assert state.belief.sight.settling_why == "the ORP probe's response was checked"


def test_service_forgets_what_a_check_taught() -> None:
    state, _ = folded(SETUP, TankState(), replace(CHLORAMINE, time_s=ZERO_S))
    state, _ = folded(SETUP, state, Service(ZERO_S + 60.0, "t", "probe"))
    assert state.belief.learnt.mean == pytest.approx(Learnt().mean)
