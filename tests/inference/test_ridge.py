"""Along the ridge of tap and C0 nothing that a probe shows may change, and no prior either."""

from dataclasses import replace

import numpy as np
import pytest

from afterfill.inference import filter as belief_filter
from afterfill.inference import watch
from afterfill.inference.bank import KIND, PER_KIND, SHORT, Bank
from afterfill.inference.belief import Belief
from afterfill.inference.launch import launched, share_of, tap_sigma
from afterfill.inference.learnt import Learnt
from afterfill.inference.response import settled_mv
from afterfill.inference.ridge import Ridge, moved_along
from afterfill.inference.setup import Pour, Setup, Water

WATER = Water("chlorine", 2.0, 3.5)
SETUP = Setup("t", 100.0, 0.011, WATER, mg_cl2_per_ml=40.0)
POUR = Pour(0.0, announced=True, water=WATER, litres=25.0, minutes=5.0)
SHORTS = KIND == SHORT
RIDGE = Ridge(tap_sigma(WATER), float(np.log(0.025)), 1.0)


def bank() -> Bank:
    """With some chlorine in every member."""
    fresh = launched(SETUP, POUR, 300.0, 1.0, 25.0, share_of(POUR, disturbed=False), Learnt())
    return replace(fresh, free=fresh.free + 0.2, combined=fresh.combined + 0.1)


def test_no_probe_shows_anything_of_the_move() -> None:
    before, after = bank(), moved_along(bank(), RIDGE, 600.0)
    shown = [settled_mv(b.traits, b.free, b.combined, 0.6) for b in (before, after)]
    assert shown[1] == pytest.approx(shown[0], rel=1e-12)
    assert np.all(after.free[SHORTS] != before.free[SHORTS])
    assert np.array_equal(after.free[~SHORTS], before.free[~SHORTS])
    assert after.traits.in_free / after.free == pytest.approx(before.traits.in_free / before.free)


def test_what_the_prior_says_of_tap_and_probe_stays_as_it_is() -> None:
    """The product of two normal densities (any textbook): a draw from both, moved, is one again."""
    now = bank()
    for number in range(20):
        now = moved_along(now, RIDGE, 37.0 * number)
    z, log_c0 = now.traits.tap_z[SHORTS], np.log(now.traits.c0_mg_l[SHORTS])
    slack = 3.0 / np.sqrt(PER_KIND)
    assert np.mean(z) == pytest.approx(0.0, abs=slack)
    assert np.std(z) == pytest.approx(1.0, abs=slack)
    assert np.mean(log_c0) == pytest.approx(RIDGE.c0_mean, abs=slack)
    assert np.std(log_c0) == pytest.approx(RIDGE.c0_sd, abs=slack)


def test_copies_of_one_member_get_back_what_is_known_of_the_tap() -> None:
    one = bank()
    same = replace(
        one.traits,
        tap_z=np.full_like(one.free, 1.5),
        c0_mg_l=np.full_like(one.free, 0.025),
    )
    after = moved_along(replace(one, traits=same), RIDGE, 600.0)
    # prior N(0, 1) of z, and of log C0 = log C0' + sigma (z - z'): precisions add up
    precision = 1.0 + RIDGE.tap_sigma**2
    assert np.mean(after.traits.tap_z[SHORTS]) == pytest.approx(
        1.5 * RIDGE.tap_sigma**2 / precision, abs=0.02
    )
    assert np.std(after.traits.tap_z[SHORTS]) == pytest.approx(precision**-0.5, rel=0.03)


def test_a_member_with_neutraliser_left_is_not_on_the_ridge() -> None:
    some = replace(bank(), surplus=np.full(KIND.size, 0.4))
    after = moved_along(some, RIDGE, 600.0)
    assert np.array_equal(after.free, some.free)
    assert np.array_equal(after.traits.c0_mg_l, some.traits.c0_mg_l)


def test_a_test_of_the_water_ends_the_ridge_and_so_does_water_of_an_older_watch() -> None:
    belief = belief_filter.poured(SETUP, Belief(), POUR, 0.0)
    assert belief.watch is not None
    assert belief.watch.ridge == RIDGE
    assert watch.tested(belief.watch, 0.3, 7.5, free_only=False).ridge is None
    again = belief_filter.poured(SETUP, belief, replace(POUR, time_s=7200.0), 7200.0)
    assert again.watch is not None
    assert again.watch.ridge is None
