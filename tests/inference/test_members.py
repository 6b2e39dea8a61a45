"""The physics of the bank: nothing comes from nothing, and the electrode has a memory."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from afterfill.inference import prior
from afterfill.inference.bank import DISTURBANCE, DOSED, KIND, PER_KIND, SHORT, Bank, reweighted
from afterfill.inference.dynamics import flowed
from afterfill.inference.launch import as_cold_as_felt, launched, share_of
from afterfill.inference.learnt import Learnt
from afterfill.inference.resample import refreshed
from afterfill.inference.response import PH_REFERENCE, lagged, settled_mv, signal_mv
from afterfill.inference.setup import Pour, Setup, Water
from afterfill.inference.weigh import weighed_by_orp, weighed_by_ph, weighed_by_temperature

WATER = Water("chloramine", 2.0, 3.0)
SETUP = Setup("t", 100.0, 0.011, WATER, mg_cl2_per_ml=40.0)


def bank_of(pour: Pour) -> Bank:
    return launched(SETUP, pour, 300.0, 1.0, 25.0, share_of(pour, disturbed=False), Learnt())


def announced(**said: float) -> Pour:
    return Pour(0.0, announced=True, water=WATER, **said)


def run(bank: Bank, hours: float, step_s: float = 20.0) -> Bank:
    """From ten minutes before the pour, since nobody knows its beginning to the second."""
    for number in range(-int(600 / step_s), int(hours * 3600 / step_s)):
        bank = flowed(bank, number * step_s, (number + 1) * step_s)
    return bank


def test_untreated_water_ends_up_as_the_mass_balance_says() -> None:
    bank = bank_of(announced(litres=25.0, minutes=10.0, neutraliser_ml=0.0))
    nothing = np.zeros_like(bank.free)
    still = replace(bank.traits, k_free_per_s=nothing, k_combined_per_s=nothing)
    after = run(replace(bank, traits=still), 0.5)
    # C = C_tap (1 - exp(-f)) for continuous exchange of a share f (stirred-tank balance)
    expected = bank.traits.in_combined * (1.0 - np.exp(-bank.traits.fraction))
    assert np.allclose(after.combined, expected, rtol=0.02, atol=1e-9)


def test_the_poured_share_is_the_share_that_was_said() -> None:
    after = run(bank_of(announced(litres=25.0, minutes=10.0)), 0.5)
    assert np.allclose(after.poured, after.traits.fraction, rtol=1e-9)
    assert np.median(after.poured) == pytest.approx(0.25, rel=0.02)


def test_well_dosed_water_carries_nothing_over_and_a_short_dose_does() -> None:
    after = run(bank_of(announced(litres=25.0, minutes=10.0, neutraliser_ml=5.0)), 0.5)
    assert np.max(after.peak[KIND == DOSED]) < 0.011
    assert np.min(after.peak[KIND == SHORT]) > 0.0


def test_decay_is_that_of_a_numerical_solution() -> None:
    bank = bank_of(announced(litres=25.0, minutes=10.0, neutraliser_ml=0.0))
    after = run(bank, 1.0, step_s=10.0)
    member = int(np.argmax(bank.traits.k_combined_per_s[KIND == SHORT])) + SHORT * PER_KIND
    t = bank.traits
    k, rate = t.k_combined_per_s[member], t.fraction[member] / t.pour_s[member]
    begin_s, end_s = t.start_s[member], t.start_s[member] + t.pour_s[member]

    def slope(time_s: float, combined: np.ndarray) -> np.ndarray:
        pouring = rate if begin_s <= time_s <= end_s else 0.0
        return np.asarray(pouring * (t.in_combined[member] - combined) - k * combined)

    exact = solve_ivp(slope, (-600.0, 3600.0), [0.0], max_step=10.0, rtol=1e-8)
    assert after.combined[member] == pytest.approx(exact.y[0, -1], rel=0.02)


def test_neutraliser_and_chlorine_do_not_last_together() -> None:
    bank = bank_of(announced(litres=25.0))
    both = replace(bank, free=bank.free + 0.3, surplus=bank.surplus + 0.5)
    after = flowed(both, -3600.0, -3580.0)
    assert np.max(after.free) == 0.0
    assert np.allclose(after.surplus, 0.2, rtol=0.01)


def test_ammonia_turns_free_chlorine_into_combined_within_a_minute() -> None:
    bank = bank_of(announced(litres=25.0))
    plenty = replace(bank, free=bank.free + 0.1, capture_mg_l=bank.free + 5.0)
    after = flowed(plenty, -3600.0, -3540.0)
    assert np.max(after.free) < 0.006  # 95 % bound; by the full scheme 99.9 % in 60 s
    assert np.allclose(after.combined + after.free, 0.1, rtol=0.15)  # but for demand


def test_response_rises_with_oxidant_and_free_counts_for_more_than_combined() -> None:
    traits = bank_of(announced(litres=25.0)).traits
    some = np.full(3 * PER_KIND, 0.2)
    nothing = np.zeros(3 * PER_KIND)
    free = settled_mv(traits, some, nothing, hocl=0.6)
    combined = settled_mv(traits, nothing, some, hocl=0.6)
    assert np.all(settled_mv(traits, nothing, nothing, 0.6) == 0.0)
    assert np.all(settled_mv(traits, 2 * some, nothing, 0.6) > free)
    assert np.mean(free > combined) > 0.9


def test_the_electrode_falls_more_slowly_than_it_rises() -> None:
    bank = bank_of(announced(litres=25.0))
    up = lagged(replace(bank, free=bank.free + 0.2), 0.6, 600.0)
    down = lagged(replace(up, free=bank.free), 0.6, 600.0)
    full = settled_mv(bank.traits, bank.free + 0.2, bank.combined, 0.6)
    assert np.median(up.response_mv / full) > 0.9
    assert np.median(down.response_mv / up.response_mv) > 0.6


def test_a_suspected_disturbance_pours_nothing() -> None:
    bank = bank_of(Pour(0.0, announced=False, water=WATER))
    assert np.all(bank.traits.fraction[KIND == DISTURBANCE] == 0.0)
    assert np.all(bank.traits.fraction[KIND == SHORT] > 0.0)


def test_resampling_keeps_each_kinds_weight_and_the_moments_within_it() -> None:
    bank = bank_of(announced(litres=25.0))
    pull = -0.5 * ((np.log(bank.traits.b_mv) - np.log(95.0)) / 0.03) ** 2
    bank = replace(bank, weights=reweighted(bank.weights, pull))
    after = refreshed(bank, 600.0, 7.5)
    assert after is not bank
    before_w, after_w = bank.weights, after.weights
    for kind in (DISTURBANCE, DOSED, SHORT):
        rows = kind == KIND
        assert after_w[rows].sum() == pytest.approx(before_w[rows].sum(), rel=1e-9)
        mean = np.average(np.log(bank.traits.b_mv[rows]), weights=before_w[rows])
        assert np.mean(np.log(after.traits.b_mv[rows])) == pytest.approx(mean, abs=0.02)


def test_resampling_makes_no_chlorine_that_was_not_poured() -> None:
    bank = run(bank_of(announced(litres=25.0, minutes=10.0)), 0.5)
    most = [float(np.max(bank.peak[kind == KIND])) for kind in range(3)]
    for _ in range(20):
        pull = -0.5 * ((np.log(bank.peak + 1e-3) - np.log(0.3)) / 0.2) ** 2
        bank = refreshed(replace(bank, weights=reweighted(bank.weights, pull)), 1800.0, 7.5)
    for kind in range(3):
        assert np.max(bank.peak[kind == KIND]) <= most[kind] + 1e-12


def test_resampling_keeps_the_orp_that_members_agree_on() -> None:
    bank = run(bank_of(announced(litres=25.0, minutes=10.0)), 0.5)
    at_s, ph = 1800.0, 8.4
    by_ph = bank.traits.ph_slope_mv * (ph - PH_REFERENCE)
    agreed = replace(bank, base_mv=320.0 - signal_mv(bank, at_s) - by_ph)
    pull = -0.5 * ((np.log(bank.traits.b_mv) - np.log(95.0)) / 0.03) ** 2
    after = refreshed(replace(agreed, weights=reweighted(bank.weights, pull)), at_s, ph)
    by_ph = after.traits.ph_slope_mv * (ph - PH_REFERENCE)
    expected = after.base_mv + signal_mv(after, at_s) + by_ph
    for kind in range(3):
        rows = kind == KIND
        assert not np.allclose(after.base_mv[rows], agreed.base_mv[rows])
        assert np.mean(expected[rows]) == pytest.approx(320.0, abs=2.0)
        assert np.std(expected[rows]) < 0.5 * np.std(agreed.base_mv[rows])


def test_resampling_keeps_a_background_that_is_known_to_a_millivolt() -> None:
    """A kind that the readings refute must not follow them with its background."""
    bank = run(bank_of(announced(litres=25.0, minutes=10.0)), 0.5)
    spread_mv = np.std(bank.base_mv)
    for number in range(30):
        shown = bank.base_mv + signal_mv(bank, 1800.0)
        pull = -0.5 * ((shown - 360.0) / 8.0) ** 2
        pulled = replace(bank, weights=reweighted(bank.weights, pull))
        bank = refreshed(pulled, 1800.0 + number, PH_REFERENCE)
    assert np.max(np.abs(bank.base_mv - 300.0)) < 1.0 + 4.0 * spread_mv


def test_resampling_leaves_a_healthy_bank_alone() -> None:
    bank = bank_of(announced(litres=25.0))
    assert refreshed(bank, 600.0, 7.5) is bank


def odds_between_pouring_kinds(bank: Bank) -> float:
    weights = bank.weights
    return float(np.sum(weights[KIND == SHORT]) / np.sum(weights[KIND == DOSED]))


@pytest.mark.parametrize("step_c", [-2.5, -0.5, 0.0])
def test_temperature_tells_that_water_came_but_not_whether_it_was_treated(step_c: float) -> None:
    suspected = Pour(0.0, announced=False, water=WATER)
    bank = launched(SETUP, suspected, 300.0, 1.0, 25.0, share_of(suspected, False), Learnt())
    before = run(bank, 0.3)
    after = before
    for number in range(60):
        at_s = 1080.0 + 20.0 * number
        after = weighed_by_temperature(after, step_c, 25.0, at_s, 20.0, announced=False)
    ratio = odds_between_pouring_kinds(after) / odds_between_pouring_kinds(before)
    assert ratio == pytest.approx(1.0, rel=1e-6)
    poured = [float(np.sum(b.weights[KIND != DISTURBANCE])) for b in (before, after)]
    assert (poured[1] > poured[0]) == (step_c < -0.3)


@pytest.mark.parametrize("step", [0.12, 0.0])
def test_ph_tells_that_water_came_but_not_whether_it_was_treated(step: float) -> None:
    hard = replace(WATER, ph=8.6)
    suspected = Pour(0.0, announced=False, water=hard)
    share = share_of(suspected, False)
    bank = launched(SETUP, suspected, 300.0, 1.0, 25.0, share, Learnt(), ph=7.2)
    before = run(bank, 0.3)
    after = before
    for number in range(60):
        at_s = 1080.0 + 20.0 * number
        after = weighed_by_ph(after, step, 7.2, at_s, 20.0, announced=False)
    ratio = odds_between_pouring_kinds(after) / odds_between_pouring_kinds(before)
    assert ratio == pytest.approx(1.0, rel=1e-6)
    poured = [float(np.sum(b.weights[KIND != DISTURBANCE])) for b in (before, after)]
    assert (poured[1] > poured[0]) == (step > 0.05)


def test_no_disturbance_that_comes_in_minutes_grows_beyond_what_feeding_does() -> None:
    bank = bank_of(Pour(0.0, announced=False, water=WATER))
    for minute in range(1, 31):  # a smooth rise by 50 mV
        at_s, orp_mv = 60.0 * minute, 300.0 + 50.0 * (1.0 - math.exp(-minute / 4.0))
        bank, _ = weighed_by_orp(bank, orp_mv, PH_REFERENCE, at_s, 60.0, 1.0)
        bank = refreshed(bank, at_s, PH_REFERENCE)
    slowly = (KIND == DISTURBANCE) & (bank.traits.nuisance_rise_s >= prior.AT_ONCE_S)
    assert np.sum(slowly) > 50
    assert np.max(np.abs(bank.traits.nuisance_mv[slowly])) <= prior.DISTURBED_MV


def test_disturbances_are_even_and_mostly_of_the_size_of_feeding() -> None:
    bank = bank_of(announced(litres=25.0, minutes=10.0))
    heights = bank.traits.nuisance_mv[KIND == DISTURBANCE]
    assert abs(np.mean(heights)) < 2.0
    assert 0.9 < np.mean(np.abs(heights) <= 30.0) < 1.0
    at_once = bank.traits.nuisance_rise_s[KIND == DISTURBANCE] < prior.AT_ONCE_S
    assert 0.04 < np.mean(at_once) < 0.12


def test_cold_that_is_felt_is_poured_by_half_of_the_stories_and_none_pours_more_than_all() -> None:
    before = bank_of(Pour(0.0, announced=False, water=WATER)).traits
    for step_c in (-0.5, -6.0, 3.0):
        after = as_cold_as_felt(before, 25.0, step_c)
        pours = before.fraction > 0.0
        made_c = (after.fraction * (after.in_c - 25.0))[pours]
        assert np.mean(np.sign(step_c) * made_c >= 0.99 * abs(step_c)) > 0.4
        assert np.all((after.fraction >= 0.0) & (after.fraction <= 1.0))
    assert as_cold_as_felt(before, 25.0, 0.1) is before
    known = as_cold_as_felt(before, 25.0, -2.0, source_known=True)
    assert np.array_equal(known.in_c, before.in_c)
    assert np.all((known.fraction >= 0.0) & (known.fraction <= 1.0))
