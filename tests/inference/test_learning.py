"""What is learnt of a probe: slowly, only from known truths, and forgotten with the probe."""

import numpy as np
import pytest

from afterfill.inference.calibration.learnt import PARAMETERS, Learnt, drawn, in_quiet, updated
from afterfill.inference.model import priors
from afterfill.inference.model.particles import B_MV, Particles
from afterfill.records import Input, KitResult, Service
from afterfill.tank import TankState, folded
from afterfill.tank_snapshot import from_bytes, to_bytes
from particle_sets import announced, particles_of, pulled
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


def state_after(inputs: list[Input]) -> TankState:
    return after(SETUP, inputs)[0]


def particles_that_believe(b_mv: float) -> Particles:
    fresh = particles_of(announced(litres=25.0))
    return pulled(fresh, -0.5 * ((np.log(fresh.parameters[B_MV]) - np.log(b_mv)) / 0.05) ** 2)


def test_before_anything_is_known_the_prior_holds() -> None:
    assert np.median(drawn(Learnt(), 192, "b_mv")) == pytest.approx(priors.B_MV, rel=0.01)
    assert np.median(drawn(Learnt(), 192, "fall_s")) == pytest.approx(
        60 * priors.FALL_MIN, rel=0.02
    )


def test_one_refill_moves_and_narrows_only_so_far() -> None:
    place, start = PARAMETERS.index("b_mv"), Learnt()
    once = updated(start, particles_that_believe(160.0))
    assert once.mean[place] - start.mean[place] == pytest.approx(start.sd[place])
    assert once.sd[place] == pytest.approx(0.6 * start.sd[place])
    assert once.refills == 1


def test_many_that_agree_teach_their_truth() -> None:
    learnt = Learnt()
    for _ in range(4):
        learnt = updated(learnt, particles_that_believe(100.0))
    assert np.exp(learnt.mean[PARAMETERS.index("b_mv")]) == pytest.approx(100.0, rel=0.05)


def test_the_ph_slope_is_learnt_from_quiet_hours() -> None:
    learnt, random = Learnt(), np.random.default_rng(5)
    for hour in range(24 * 14):
        ph = 7.4 + 0.2 * np.sin(hour / 24 * 2 * np.pi)
        orp_mv = 320.0 - 50.0 * (ph - 7.4) + 0.8 * random.standard_normal()
        learnt = in_quiet(learnt, float(orp_mv), float(ph), 3600.0 * hour)
    assert learnt.ph_slope_mv == pytest.approx(-50.0, abs=6.0)
    assert learnt.ph_slope_sd < 0.7 * priors.PH_SLOPE_SD


def test_a_carry_over_without_a_test_teaches_nothing_about_the_response() -> None:
    said = refill(1, litres=25, minutes=10, neutraliser_ml=0)
    state = state_after(merged(story(27, [pour(1, 0.25, raw("chloramine", 2.0))]), [said]))
    assert state.belief.watch is None
    assert state.belief.learnt.refills == 0
    assert np.array_equal(state.belief.learnt.mean, Learnt().mean)


def test_a_chlorine_test_during_a_carry_over_teaches_and_service_forgets() -> None:
    said = refill(1, litres=25, minutes=10, neutraliser_ml=0)
    kit = KitResult(ZERO_S + 1.5 * HOUR_S, "t", total_chlorine_mg_l=0.4)
    inputs = merged(story(27, [pour(1, 0.25, raw("chloramine", 2.0))]), [said, kit])
    state = state_after(inputs)
    assert state.belief.learnt.refills == 1
    assert np.all(state.belief.learnt.sd <= Learnt().sd)
    assert to_bytes(from_bytes(to_bytes(state))) == to_bytes(state)
    service = Service(ZERO_S + 27.1 * HOUR_S, "t", "probe")
    forgotten, _ = folded(SETUP, state, service)
    assert forgotten.belief.learnt.refills == 0
    assert forgotten.belief.learnt.ph_slope_mv == priors.PH_SLOPE_MV
