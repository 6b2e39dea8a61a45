"""The electrode: its law, its inverse and gradient, its memory; and another law in its place."""

import math
from dataclasses import replace

import numpy as np
import pytest

from afterfill.inference.calibration.learnt import Learnt, drawn
from afterfill.inference.model.electrode import (
    LOGARITHMIC,
    ElectrodeLaw,
    Probe,
    SaturatingCombined,
    artefact_mv,
    artefact_share,
    lagged,
    log_step,
    probes_of,
)
from afterfill.inference.model.hypotheses import N
from afterfill.inference.model.observations import Moment, Orp
from afterfill.inference.model.particles import (
    ARTEFACT_MV,
    B_MV,
    BACKGROUND_MV,
    BACKGROUND_VAR,
    C0_MG_L,
    COMBINED,
    FALL_S,
    FREE,
    NEUTRALISER,
    PH_SLOPE_MV,
    RESPONSE_MV,
    RISE_S,
    W_COMBINED,
    W_OCL,
    Particles,
)
from afterfill.inference.posterior.detection_limit import detection_limit_mg_l
from afterfill.records import Verdict
from particle_sets import announced, particles_of, still
from tank_stories import config_of, found_in, merged, pour, raw, refill, setup_of, story

LAWS: list[ElectrodeLaw] = [LOGARITHMIC, SaturatingCombined(2.0)]
SOME, NONE = np.full(N, 0.2), np.zeros(N)


@pytest.mark.parametrize("law", LAWS, ids=lambda law: type(law).__name__)
def test_response_rises_with_oxidant_and_free_counts_for_more(law: ElectrodeLaw) -> None:
    probe = probes_of(particles_of(announced(litres=25.0)))
    free, combined = (
        law.response_mv(probe, SOME, NONE, 0.6),
        law.response_mv(probe, NONE, SOME, 0.6),
    )
    assert np.all(law.response_mv(probe, NONE, NONE, 0.6) == 0.0)
    assert np.all(law.response_mv(probe, 2 * SOME, NONE, 0.6) > free)
    assert np.mean(free > combined) > 0.9


@pytest.mark.parametrize("law", LAWS, ids=lambda law: type(law).__name__)
@pytest.mark.parametrize("combined", [True, False])
def test_the_needed_chlorine_makes_the_step(law: ElectrodeLaw, combined: bool) -> None:
    probe = probes_of(particles_of(announced(litres=25.0)))
    needed = law.needed_mg_l(probe, 20.0, 0.6, combined=combined)
    there = np.isfinite(needed)
    assert np.mean(there) > 0.5
    some = np.where(there, needed, 0.0)
    made = law.response_mv(probe, NONE if combined else some, some if combined else NONE, 0.6)
    assert made[there] == pytest.approx(20.0, rel=1e-9)


def test_a_step_that_a_saturated_surface_cannot_make_needs_infinitely_much() -> None:
    probe = Probe(np.array([80.0]), np.array([0.5]), np.array([0.4]), np.array([0.2]))
    (needed,) = SaturatingCombined(0.1).needed_mg_l(probe, 60.0, 0.6, combined=True)
    assert needed == np.inf
    full = Probe(*(np.ones(1) * value for value in (80.0, 1.0, 0.4, 1.0)))  # 9 mg/L, all it holds
    assert SaturatingCombined(9.0).needed_mg_l(full, 80.0, 0.6, combined=True) == np.inf


def test_the_gradient_is_that_of_the_logarithmic_law() -> None:
    """In closed form: d ln E / d ln b = 1, d ln E / d ln C0 = -(b / ln 10) C / (C0 + C) / E."""
    point = np.log(np.array([80.0, 0.025, 0.2]))
    step_mv, gradient = log_step(LOGARITHMIC, point, 0.4, 0.3, 0.5, 0.6)
    of_free, of_combined = 0.3 * (0.6 + 0.4 * 0.4), 0.5 * 0.2
    effective = of_free + of_combined
    bend = 80.0 / np.log(10.0) * effective / (0.025 + effective) / step_mv
    assert step_mv == pytest.approx(80.0 * np.log10(1.0 + effective / 0.025))
    assert gradient.shape == (3,)
    assert gradient == pytest.approx([1.0, -bend, bend * of_combined / effective], rel=1e-6)


def test_the_electrode_falls_more_slowly_than_it_rises() -> None:
    fresh = particles_of(announced(litres=25.0))
    wet = fresh.with_rows(state={FREE: SOME})
    up = lagged(wet, LOGARITHMIC, 0.6, 600.0)
    down = lagged(up.with_rows(state={FREE: NONE}), LOGARITHMIC, 0.6, 600.0)
    full = LOGARITHMIC.response_mv(probes_of(fresh), SOME, fresh.state[COMBINED], 0.6)
    assert np.median(up.state[RESPONSE_MV] / full) > 0.9
    assert np.median(down.state[RESPONSE_MV] / up.state[RESPONSE_MV]) > 0.6


def test_the_detection_limit_asks_the_law_that_it_is_given() -> None:
    plain, dull = (
        detection_limit_mg_l(Learnt(), law, 1.0, True, 0.6, combined=True) for law in LAWS
    )
    assert dull > plain
    assert np.all(drawn(Learnt(), 8, "c0_mg_l") > 0.0)


@pytest.mark.parametrize("law", LAWS, ids=lambda law: type(law).__name__)
def test_either_law_calls_a_carry_over(law: ElectrodeLaw) -> None:
    """The second law replaces the first in one line of the tank's setup."""
    setup = setup_of(config_of("chlorine", 2.0))
    setup = replace(setup, inference=replace(setup.inference, law=law))
    said = refill(1, litres=25, minutes=10, neutraliser_ml=0)
    found = found_in(setup, merged(story(2, [pour(1, 0.25, raw("chlorine", 2.0))]), [said]))
    assert [v.verdict for v in found if isinstance(v, Verdict)][-1] == "carried-over"


def known_probe() -> Particles:
    """Two electrodes of 80 mV per decade in water of 0.3 mg/L free and 0.2 mg/L combined: with 0.6
    of HOCl effective are 0.3 (0.6 + 0.5 * 0.4) + 0.2 * 0.2 = 0.28 mg/L, fourteen times their C0."""
    rows = {B_MV: 80.0, C0_MG_L: 0.02, W_OCL: 0.5, W_COMBINED: 0.2, RISE_S: 180.0, FALL_S: 2400.0}
    levels = {FREE: np.full(2, 0.3), COMBINED: np.full(2, 0.2)}
    return still(2).with_rows({row: np.full(2, value) for row, value in rows.items()}, levels)


FULL_MV = 80.0 * math.log10(15.0)


def test_the_electrode_follows_exponentially_up_and_down() -> None:
    start = known_probe().with_rows(state={RESPONSE_MV: np.array([10.0, 150.0])})
    after = lagged(start, LOGARITHMIC, 0.6, 120.0).state[RESPONSE_MV]
    left = np.array([10.0 - FULL_MV, 150.0 - FULL_MV]) * np.exp([-120.0 / 180.0, -120.0 / 2400.0])
    assert after == pytest.approx(FULL_MV + left)


def test_combined_chlorine_has_half_of_its_greatest_effect_at_1_mg_per_l() -> None:
    probe = Probe(*(np.array([value]) for value in (80.0, 0.02, 0.5, 0.2)))
    made = SaturatingCombined().response_mv(probe, np.zeros(1), np.ones(1), 0.6)
    assert made == pytest.approx(80.0 * math.log10(1.0 + 0.5 * 0.2 / 0.02))


def test_a_surplus_of_half_a_mg_per_l_makes_half_of_the_dip() -> None:
    surplus = {NEUTRALISER: np.array([0.5, 1.5])}
    particles = still(2).with_rows({ARTEFACT_MV: np.array([30.0, 40.0])}, surplus)
    assert artefact_share(particles) == pytest.approx([0.5, 0.75])
    assert artefact_mv(particles) == pytest.approx([15.0, 30.0])


def test_at_ph_7_5_the_slope_makes_no_difference() -> None:
    particles = still(2).with_rows(
        {PH_SLOPE_MV: np.array([-25.0, -50.0])},
        {BACKGROUND_MV: np.full(2, 300.0), BACKGROUND_VAR: np.full(2, 100.0)},
    )
    after, _ = Orp(1.0, 7.5).update(particles, 310.0, Moment(0.0, 180.0, announced=True))
    one, other = after.state[BACKGROUND_MV]
    assert one == pytest.approx(other)
