"""Raw top-offs that were not logged, too small for the ORP: possible until a test."""

import math
from dataclasses import replace

import numpy as np
import pytest

from afterfill.inference.belief import Belief
from afterfill.inference.model import priors
from afterfill.inference.posterior.untold import Untold, untold
from afterfill.inference.setup import Setup, Water
from afterfill.records import AlarmChange, Estimate, Event, KitResult, Standing
from afterfill.tank_setup import TankSetup
from tank_stories import (
    HOUR_S,
    ZERO_S,
    after,
    config_of,
    found_in,
    merged,
    refill,
    setup_of,
    story,
)

DAY_S = 24.0 * HOUR_S
FLOOR_MG_L = 0.2
SETUP = Setup("t", 100.0, 0.02, Water("chloramine", 2.0, 3.0), untold=priors.UNTOLD)


def since(days: float) -> tuple[Belief, float]:
    """A belief whose tank was full for sure so many days ago, and the time now."""
    return Belief(full_s=ZERO_S), ZERO_S + days * DAY_S


def p_after(days: float, setup: Setup = SETUP) -> float:
    return untold(setup, *since(days), FLOOR_MG_L).p_over


def test_it_grows_with_the_days_of_which_nothing_is_told() -> None:
    p = [p_after(days) for days in (0.0, 0.25, 1.0, 3.0, 10.0)]
    assert p[0] == 0.0
    assert p == sorted(p)
    assert p[1] < 0.05 < p[3] < priors.UNTOLD


def test_by_hand_that_anything_is_there_at_all_is_that_such_water_comes() -> None:
    """Over a limit of next to nothing: 0.25 of the tanks, each topped up within a day of 24 h with
    the odds of a first event, 1 - exp(-days)."""
    least = replace(SETUP, limit_mg_l=1e-300)
    for days in (0.5, 1.0, 30.0):
        p = untold(least, *since(days), 1e9).p_over
        assert p == pytest.approx(0.25 * (1.0 - math.exp(-days)), rel=0.01)


def test_what_the_orp_would_have_shown_did_not_come() -> None:
    assert untold(SETUP, *since(5.0), 1e-4) == Untold()


def test_a_weak_or_filtered_source_leaves_little() -> None:
    filtered = replace(SETUP, water=Water("chloramine", 1e-3, 1e-3))
    assert p_after(5.0, filtered) < 0.02 < p_after(5.0)


def test_where_each_is_told_or_treated_there_is_none() -> None:
    for word, chance in (("told", 0.0), ("treated", 0.0), ("unknown", priors.UNTOLD)):
        assert with_top_off(word).inference.untold == chance
    assert p_after(30.0, replace(SETUP, untold=0.0)) == 0.0


def test_the_upper_quantile_agrees_with_the_probability() -> None:
    """q95 is over the limit exactly where the probability is over 0.05."""
    for days in np.linspace(0.1, 6.0, 60):
        p, upper = untold(SETUP, *since(days), FLOOR_MG_L)
        assert (upper > SETUP.limit_mg_l) == (p > 0.05)


# --- in the fold ---------------------------------------------------------------------------------


def with_top_off(word: str) -> TankSetup:
    return setup_of(config_of("chloramine", 2.0, top_off=word))


def last_standing(word: str, said: list[Event]) -> Standing:
    found = found_in(with_top_off(word), merged(story(60.0, [], every_s=60.0), said))
    return [record for record in found if isinstance(record, Standing)][-1]


def test_a_tank_of_which_nothing_is_told_is_not_called_safe_for_ever() -> None:
    standing = last_standing("unknown", [])
    assert standing.standing == "cannot-tell"
    assert "top_off" in standing.why


def test_it_is_where_the_keeper_says_how_it_is_topped_up() -> None:
    assert last_standing("treated", []).standing == "safe"


@pytest.mark.parametrize("what", ["refill", "kit"])
def test_a_word_or_a_test_begins_it_again(what: str) -> None:
    said: Event = refill(58.0, litres=10, minutes=5, neutraliser_ml=10)
    if what == "kit":
        said = KitResult(ZERO_S + 58.0 * HOUR_S, "t", total_chlorine_mg_l=0.0)
    state, _ = after(with_top_off("unknown"), merged(story(59.0, [], every_s=60.0), [said]))
    assert state.belief.full_s == pytest.approx(ZERO_S + 58.0 * HOUR_S)


def test_the_alarms_do_not_hear_of_it() -> None:
    found = found_in(with_top_off("unknown"), story(80.0, [], every_s=60.0))
    estimates = [record for record in found if isinstance(record, Estimate)]
    assert estimates[-1].p_over_limit > 0.05
    changes = [record for record in found if isinstance(record, AlarmChange)]
    assert not [it for it in changes if it.active and it.alarm.startswith("residual")]
