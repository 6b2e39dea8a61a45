"""What tests of the tap and refills teach of a source: enough to matter, and never for good."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from afterfill.config import Config
from afterfill.inference import source
from afterfill.inference.belief import Belief
from afterfill.inference.filter.streams import normal
from afterfill.inference.model.parameters import tap_sigma
from afterfill.inference.setup import Water
from afterfill.inference.source import SourceBelief, as_configured, believed, taught_by_refill
from afterfill.records import KitResult, Output, SourceBelieved, SourceLearnt, SourceTest, Verdict
from afterfill.tank import TankState, folded
from afterfill.tank_setup import TankSetup
from afterfill.tank_sources import heard
from tank_stories import (
    HOUR_S,
    ZERO_S,
    after,
    config_of,
    found_in,
    merged,
    pour,
    raw,
    refill,
    setup_of,
    story,
)

TAP = Water("chloramine", 2.0, 3.0, name="tap")
FILTERED = Water("chlorine", 1e-3, 1e-3, name="filter")
YEAR_S = 365.25 * 86_400.0


def test_the_mean_is_that_of_two_normal_doubts_in_logarithms() -> None:
    """By hand: prior ln 2 with 0.35, a kit of 3 mg/L that errs by sqrt(0.2^2 + (0.03/3)^2)."""
    now = source.tested(TAP, None, 3.0, ZERO_S)
    kit_var, prior_var = 0.2**2 + 0.01**2, 0.35**2
    gain = prior_var / (prior_var + kit_var)
    assert now.log_mean == pytest.approx(math.log(2.0) + gain * math.log(1.5))
    assert now.log_sd == pytest.approx(math.sqrt(1.0 / (1.0 / prior_var + 1.0 / kit_var)))


def test_a_utility_that_has_doubled_is_believed_although_tests_were_alike_before() -> None:
    known = None
    for week in range(8):
        known = source.tested(TAP, known, 2.0, ZERO_S + week * 7 * 86_400.0)
    assert known is not None
    assert math.exp(known.log_mean) == pytest.approx(2.0, rel=0.02)
    doubled = source.tested(TAP, known, 4.0, ZERO_S + 9 * 7 * 86_400.0)
    water = believed(TAP, doubled, doubled.time_s)
    assert 2.9 < water.residual_mg_l < 4.0
    assert water.residual_mg_l * math.exp(1.645 * tap_sigma(water)) > 4.0


def test_what_was_learnt_widens_again_but_not_beyond_the_start() -> None:
    known = source.tested(TAP, None, 2.0, ZERO_S)
    sigmas = [tap_sigma(believed(TAP, known, ZERO_S + y * YEAR_S)) for y in (0.0, 0.5, 1.0, 50.0)]
    assert sigmas == sorted(sigmas)
    assert sigmas[0] < 0.25
    assert sigmas[-1] == pytest.approx(math.hypot(tap_sigma(TAP), 0.15))


@given(st.floats(0.0, 6.0), st.floats(0.05, 4.0), st.integers(1, 5))
def test_any_test_leaves_a_usable_belief(kit_mg_l: float, tap_mg_l: float, times: int) -> None:
    water, known = Water("chloramine", tap_mg_l, 2 * tap_mg_l), None
    for n in range(times):
        known = source.tested(water, known, kit_mg_l, ZERO_S + n)
    assert known is not None
    assert 0.0 < known.log_sd < 3.0
    low, high = sorted((math.log(tap_mg_l), math.log(max(kit_mg_l, 0.03))))
    assert low - 1e-9 <= known.log_mean <= high + 1e-9


def test_no_chlorine_in_a_sample_is_not_the_end_of_chlorine() -> None:
    known = source.tested(TAP, None, 0.0, ZERO_S)
    water = believed(TAP, known, ZERO_S)
    assert water.residual_mg_l * math.exp(1.645 * tap_sigma(water)) > 0.2


def test_a_filter_that_let_chlorine_through_may_again() -> None:
    assert as_configured(FILTERED, 0.0).breakthrough == pytest.approx(0.05)
    known = source.tested(FILTERED, None, 0.4, ZERO_S)
    assert believed(FILTERED, known, ZERO_S).breakthrough == pytest.approx(0.6)
    clean = source.tested(FILTERED, known, 0.0, ZERO_S + 60.0)
    assert believed(FILTERED, clean, ZERO_S + 60.0).breakthrough == pytest.approx(0.3)


def test_a_refill_moves_the_tap_by_one_deviation_at_most() -> None:
    z, even = normal(400, "tap strength"), np.full(400, 1.0 / 400)
    same = taught_by_refill(TAP, None, z, even, ZERO_S)
    assert same.log_mean == pytest.approx(math.log(2.0), abs=0.01)
    assert same.log_sd == pytest.approx(tap_sigma(TAP), rel=0.02)
    high = np.exp(-0.5 * ((z - 2.5) / 0.1) ** 2)
    moved = taught_by_refill(TAP, None, z, high / high.sum(), ZERO_S)
    assert moved.log_mean == pytest.approx(math.log(2.0) + tap_sigma(TAP))
    assert moved.log_sd == pytest.approx(0.6 * tap_sigma(TAP))


def test_what_was_learnt_grows_with_the_root_of_time() -> None:
    """By hand: a variance of 0.34^2 a year, and 0.15^2 from day to day, unless that is more than
    before anything taught it; a belief of later time is not made older."""
    known = SourceBelief(math.log(3.0), 0.1, ZERO_S, taught=2)
    half = believed(TAP, known, ZERO_S + 0.5 * YEAR_S)
    assert half.residual_mg_l == pytest.approx(3.0)
    assert half.sigma == pytest.approx(math.sqrt(0.01 + 0.5 * 0.34**2 + 0.15**2))
    for time_s in (ZERO_S - YEAR_S, ZERO_S):
        same = believed(TAP, known, time_s).sigma
        assert same == pytest.approx(math.hypot(0.1, 0.15), rel=1e-9)
    unsure = known._replace(log_sd=0.9)
    assert believed(TAP, unsure, ZERO_S + YEAR_S).sigma == pytest.approx(math.hypot(0.9, 0.15))


def test_a_source_that_nothing_has_taught_is_as_configured() -> None:
    assert believed(TAP, None, ZERO_S) is TAP
    prior = as_configured(TAP, ZERO_S)
    assert (prior.time_s, prior.taught) == (ZERO_S, 0)
    filtered = believed(FILTERED, as_configured(FILTERED, 0.0)._replace(breakthrough=0.3), YEAR_S)
    assert (filtered.breakthrough, filtered.sigma) == (0.3, None)


def test_a_test_counts_and_dates_what_it_teaches() -> None:
    for water in (TAP, FILTERED):
        known = source.tested(water, None, 1.0, ZERO_S)
        assert (known.taught, known.time_s) == (1, ZERO_S)
        again = source.tested(water, known, 1.0, ZERO_S + 60.0)
        assert (again.taught, again.time_s) == (2, ZERO_S + 60.0)
        earlier = source.tested(water, again, 1.0, ZERO_S)
        assert earlier.time_s == ZERO_S + 60.0


def test_a_result_two_deviations_off_widens_the_doubt_until_it_is_just_that() -> None:
    """By hand: before^2 + kit^2 = (off / 2)^2, so the gain is 1 - (2 kit / off)^2."""
    known = SourceBelief(math.log(2.0), 0.1, ZERO_S)
    off, kit_var = math.log(4.0), 0.2**2 + (0.03 / 8.0) ** 2
    gain = 1.0 - kit_var * (2.0 / off) ** 2
    now = source.tested(TAP, known, 8.0, ZERO_S)
    assert now.log_mean == pytest.approx(math.log(2.0) + gain * off)
    assert now.log_sd == pytest.approx(math.sqrt(gain * kit_var))


def test_the_least_that_a_kit_can_tell_shows_no_breakthrough() -> None:
    shown = source.tested(FILTERED, None, 0.03, ZERO_S)
    assert shown.breakthrough == pytest.approx(0.5 * 0.05)


def test_a_refill_that_a_filter_let_through_makes_it_likely_to_happen_again() -> None:
    known = as_configured(FILTERED, 0.0)._replace(taught=3, log_mean=-5.0)
    some = np.zeros(2)
    first = taught_by_refill(FILTERED, None, some, some, ZERO_S)
    assert first == as_configured(FILTERED, ZERO_S)._replace(
        breakthrough=0.6, taught=1, changed=True
    )
    again = taught_by_refill(FILTERED, known, some, some, ZERO_S)
    assert again == known._replace(breakthrough=0.6, taught=4, time_s=ZERO_S, changed=True)


@pytest.mark.parametrize(("z", "mean", "sd"), [
    ((-1.1, 0.5), -0.3, 0.8), ((-1.5, -0.5), -1.0, 0.6), ((-2.0, -1.0), -1.0, 0.6),
    ((1.0, 2.0), 1.0, 0.6), ((-1.5, 1.5), 0.0, 1.0), ((-0.55, 1.05), 0.25, 0.8),
])  # fmt: skip
def test_a_refill_teaches_mean_and_spread_of_its_particles_within_bounds(
    z: tuple[float, float], mean: float, sd: float
) -> None:
    """Two particles alike: their mean, at most 1 off, and half their distance, 0.6 to 1."""
    known = SourceBelief(0.0, 0.1, 0.0, taught=2)
    now = taught_by_refill(TAP, known, np.array(z), np.full(2, 0.5), ZERO_S)
    assert now.log_mean == pytest.approx(math.log(2.0) + 0.35 * mean)
    assert now.log_sd == pytest.approx(0.35 * sd)
    assert (now.time_s, now.taught) == (ZERO_S, 3)
    assert taught_by_refill(TAP, None, np.array(z), np.full(2, 0.5), ZERO_S).taught == 1


def of_the_first_minutes(found: list[Output]) -> float:
    """The first probability that a verdict gave."""
    return next(o.probability for o in found if isinstance(o, Verdict))


def test_a_dose_for_the_old_level_is_doubted_once_the_tap_was_tested() -> None:
    """The source holds twice what the configuration says, and the dose is the usual one."""
    setup = setup_of(config_of("chloramine", 2.0))
    short = raw("chloramine", 2.0)  # of 4 mg/L half is left
    said = refill(2, litres=25, minutes=10, neutraliser_ml=25 * 2.0 / 40 * 1.2)
    readings = story(4, [pour(2, 0.25, short)])
    test = SourceTest(ZERO_S + 0.5 * HOUR_S, "t", "tap", 4.0)
    untold = found_in(setup, merged(readings, [said]))
    told = found_in(setup, merged(readings, [said, test]))
    learnt = [o for o in told if isinstance(o, SourceLearnt)]
    assert [(o.source, o.taught) for o in learnt] == [("tap", 1)]
    assert 3.0 < math.exp(learnt[0].log_mean) < 4.0
    assert of_the_first_minutes(told) > of_the_first_minutes(untold)


def test_a_kit_in_the_tank_teaches_of_the_tap() -> None:
    """Untreated water of 4 mg/L where 2 are configured; the kit shows a quarter of it."""
    setup = setup_of(config_of("chloramine", 2.0))
    said = refill(1, litres=25, minutes=10, neutraliser_ml=0)
    kit = KitResult(ZERO_S + 1.3 * HOUR_S, "t", total_chlorine_mg_l=1.0)
    state, found = after(
        setup, merged(story(28, [pour(1, 0.25, raw("chloramine", 4.0))]), [said, kit])
    )
    learnt = [o for o in found if isinstance(o, SourceLearnt)]
    assert len(learnt) == 1
    assert math.exp(learnt[0].log_mean) > 2.5
    assert state.belief.sources["tap"].log_mean == learnt[0].log_mean


def test_what_another_tank_learnt_is_taken_over_unless_it_is_older() -> None:
    setup, heard = (
        setup_of(config_of()),
        SourceLearnt(ZERO_S, "t", "tap", 1.0, 0.2, ZERO_S, 3, 0.05),
    )
    state, _ = after(setup, [*story(0.2), heard])
    assert state.belief.sources["tap"].log_mean == 1.0
    older = SourceLearnt(ZERO_S, "t", "tap", 0.0, 0.2, ZERO_S - 1.0, 1, 0.05)
    foreign = SourceLearnt(ZERO_S, "t", "another", 0.0, 0.2, ZERO_S, 1, 0.05)
    for record in (older, foreign):
        assert folded(setup, state, record) == (state, [])


def test_free_chlorine_alone_tells_nothing_of_chloramine() -> None:
    test = SourceTest(ZERO_S, "t", None, None, 0.1)
    state, found = after(setup_of(config_of("chloramine")), [test])
    assert not state.belief.sources
    assert not found
    state, found = after(setup_of(config_of("chlorine")), [test])
    assert state.belief.sources["tap"].taught == 1
    assert [type(record) for record in found] == [SourceLearnt, SourceBelieved]


# --- another service's word ----------------------------------------------------------------------


def word_of(mg_l: float, sd: float, at_s: float = ZERO_S + 60.0) -> SourceLearnt:
    return SourceLearnt(at_s, "t", "tap", math.log(mg_l), sd, at_s, 1, 0.05, "cellar")


@pytest.mark.parametrize(("mg_l", "sd", "believed_mg_l"), [
    (2.2, 0.2, 2.2),  # about as sure as what is known, and newer
    (2.2, 0.9, 2.0),  # vague: what was tested here stays
    (4.5, 0.3, 4.5),  # far off: the utility has changed
    (9.0, 5.0, 2.0),  # so vague that nothing is far off
])  # fmt: skip
def test_a_vague_word_does_not_take_the_place_of_a_test(
    mg_l: float, sd: float, believed_mg_l: float
) -> None:
    known = SourceBelief(math.log(2.0), 0.2, ZERO_S, 1)
    state = TankState(belief=Belief(sources={"tap": known}))
    after_word = heard(setup_of(config_of("chloramine", 2.0)), state, word_of(mg_l, sd))
    mean = after_word.belief.sources["tap"].log_mean
    assert math.exp(mean) == pytest.approx(believed_mg_l)


def with_cartridge() -> TankSetup:
    tables = config_of("chlorine", 0.0).model_dump(exclude_unset=True)
    changed = {"kind": "filtered", "cartridge_litres": 1000, "cartridge_changed": "2026-06-01"}
    tables["source"]["tap"] = {"disinfectant": "chlorine", **changed}
    return setup_of(Config.model_validate(tables))


@pytest.mark.parametrize(("heard_l", "later_s", "litres"), [
    (900.0, 60.0, 900.0),  # the other service has drawn more through the same cartridge
    (100.0, 60.0, 400.0),  # a word from before this service drew: the cartridge is not younger
    (900.0, -60.0, 900.0),  # also where its test is older than the one known here
])  # fmt: skip
def test_a_word_never_makes_a_cartridge_younger(
    heard_l: float, later_s: float, litres: float
) -> None:
    known = SourceBelief(math.log(1e-3), 0.35, ZERO_S, 1, 0.05, litres=400.0)
    state = TankState(belief=Belief(sources={"tap": known}))
    word = replace(word_of(1e-3, 0.35, ZERO_S + later_s), litres=heard_l)
    after_word = heard(with_cartridge(), state, word)
    assert after_word.belief.sources["tap"].litres == litres


def test_a_word_from_before_the_cartridge_was_changed_is_of_another_one() -> None:
    known = SourceBelief(math.log(1e-3), 0.35, ZERO_S, 1, 0.05, litres=5.0)
    state = TankState(belief=Belief(sources={"tap": known}))
    old_s = ZERO_S - 400 * 86_400.0
    word = replace(word_of(1e-3, 0.35, old_s), litres=900.0)
    assert heard(with_cartridge(), state, word) == state
