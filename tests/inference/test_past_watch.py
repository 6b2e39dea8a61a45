"""What a refill left in the tank is believed on, watch or no watch, until it has gone."""

from dataclasses import replace

import numpy as np
import pytest

from afterfill.inference import step, words
from afterfill.inference.belief import Belief
from afterfill.inference.monitor import baseline, watch
from afterfill.inference.monitor.channels import Channel
from afterfill.inference.monitor.data_quality import Sight
from afterfill.inference.monitor.thinning import thinned
from afterfill.inference.posterior.estimate import chlorine_of, estimate
from afterfill.inference.posterior.present import present
from afterfill.inference.setup import Pour
from afterfill.records import Dose, Estimate, Input, KitResult, Reading, Service, Standing
from afterfill.simulation.virtual_tank import Inflow
from afterfill.tank import TankState, folded
from afterfill.tank_standing import stood
from known_watches import several, watch_over
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
    treated,
)

SETUP = setup_of(config_of())
RAW = raw("chloramine", 2.0)


def ended(state: TankState) -> TankState:
    """With the running watch made past, as at its end."""
    assert state.belief.watch is not None
    return state._replace(
        belief=state.belief._replace(watch=None, past=state.belief.watch, baseline=None)
    )


@pytest.fixture(scope="module")
def carried() -> TankState:
    said = refill(1, litres=25, minutes=10, neutraliser_ml=0)
    return ended(after(SETUP, merged(story(2, [pour(1, 0.25, RAW)]), [said]))[0])


def later(state: TankState, hours: float, *words: Dose | KitResult | Service) -> TankState:
    """After more quiet hours without an ORP, in which only time and words tell."""
    from_s = 2 * HOUR_S
    readings: list[Input] = [
        replace(r, time_s=r.time_s + from_s)
        for r in story(hours, [])
        if isinstance(r, Reading) and r.quantity != "orp"
    ]
    for record in merged(readings, words):
        state, _ = folded(SETUP, state, record)
    return state


def test_what_was_carried_over_lives_on_when_the_watch_ends(carried: TankState) -> None:
    time_s = ZERO_S + 2 * HOUR_S
    total, _, _ = chlorine_of(carried.belief, time_s)
    assert carried.belief.watch is None
    assert total.q50 > 0.05
    assert present(carried.belief, time_s).p_over_limit > 0.9


def test_it_decays_without_a_probe(carried: TankState) -> None:
    then = later(carried, 24.0)
    assert then.belief.past is not None
    before, now = (watch.residual_of(s.belief.past) for s in (carried, then) if s.belief.past)
    assert now.q50 < 0.7 * before.q50
    assert now.q95 > 0.02  # chloramine may stay for days


def test_neutraliser_takes_it_away_and_tests_end_the_doubt(carried: TankState) -> None:
    at_s = ZERO_S + 2.2 * HOUR_S
    dosed = later(carried, 1.0, Dose(at_s, "t", 10.0))
    assert present(dosed.belief, ZERO_S + 3 * HOUR_S).p_over_limit < 0.05
    tests = [KitResult(at_s + n, "t", total_chlorine_mg_l=0.0) for n in range(5)]
    once, thrice, all_five = (
        present(later(carried, 1.0, *tests[:n]).belief, ZERO_S + 3 * HOUR_S).p_over_limit
        for n in (1, 3, 5)
    )
    assert thrice / (1.0 - thrice) < 0.01 * once / (1.0 - once)
    assert all_five < 0.5


def test_another_probe_shows_nothing_of_it_but_it_is_still_there(carried: TankState) -> None:
    serviced = later(carried, 0.5, Service(ZERO_S + 2.1 * HOUR_S, "t", "probe"))
    assert present(serviced.belief, ZERO_S + 2.5 * HOUR_S).p_over_limit > 0.8


def test_a_second_refill_is_added_to_it() -> None:
    """Raw top-offs of a hundredth, told of with no dose: one hardly matters, two do."""
    hours = (2.0, 3.5)
    pours: list[Inflow] = [pour(h, 0.009, RAW, 3.0) for h in hours]
    said = [refill(h, litres=0.9, minutes=3, neutraliser_ml=0) for h in hours]
    found = found_in(SETUP, merged(story(5, pours), list(said)), 600.0)
    estimates = [o for o in found if isinstance(o, Estimate)]
    first, last = (
        max(e.p_over_limit for e in estimates if lo < (e.time_s - ZERO_S) / HOUR_S < hi)
        for lo, hi in ((2.3, 3.4), (3.6, 5.0))
    )
    assert last > first + 0.2
    words = [o.standing for o in found if isinstance(o, Standing) and o.time_s > ZERO_S + 7300.0]
    assert words
    assert "safe" not in words


def test_a_good_refill_leaves_nothing_to_carry_on() -> None:
    said = refill(1, litres=25, minutes=10, neutraliser_ml=2.5)
    state, _ = after(SETUP, merged(story(9, [pour(1, 0.25, treated())]), [said]))
    assert state.belief.watch is None
    assert present(state.belief, ZERO_S + 9 * HOUR_S).p_over_limit < 0.05


def test_an_older_suspicion_of_the_same_hour_goes_on_within_a_younger_one(
    carried: TankState,
) -> None:
    """Thinned, it has no hypotheses left that temperature and pH could weigh."""
    past = carried.belief.past
    assert past is not None
    suspected = replace(thinned(past, 32), pour=replace(past.pour, announced=False))
    young = replace(suspected, zero_s=past.last_s - 1800.0, warmed_s=0.0)
    seen = watch.Seen(None, 7.4, 24.0, 0.5, 0.5, 1.0)
    later = watch.advanced(young, past.last_s + 700.0, seen, SETUP.inference.law)
    assert later.p_now == pytest.approx(young.p_now, abs=0.1)
    assert np.isfinite(later.particles.state).all()


def test_neutraliser_reaches_what_a_suspicion_began_in(carried: TankState) -> None:
    """A feeding moved the ORP, a suspicion began in the older water, and the keeper doses."""
    time_s = ZERO_S + 2 * HOUR_S + 60.0
    suspicion = step.with_new_particles(SETUP.inference, carried.belief, time_s)
    assert suspicion.earlier is not None
    assert present(suspicion, time_s).p_over_limit > 0.9
    dosed = carried._replace(belief=words.dosed(SETUP.inference, suspicion, 10.0, time_s))
    then = later(dosed, 1.0)
    assert present(then.belief, ZERO_S + 3 * HOUR_S).p_over_limit < 0.05


def test_a_refill_without_an_answer_outlives_two_suspicions(carried: TankState) -> None:
    """The ORP went on rising: a second watch began in the water of the first, and a third in that
    of the second. The first was forgotten, and the tank called safe at 0.2 mg/L (a virtual
    home)."""
    time_s = ZERO_S + 2 * HOUR_S
    assert carried.belief.past is not None
    belief = carried.belief._replace(past=replace(carried.belief.past, said="possible"))
    for seconds in (60.0, 120.0):
        belief = step.with_new_particles(SETUP.inference, belief, time_s + seconds)
        assert belief.watch is not None
        assert not belief.watch.reported
        assert belief.earlier is not None
        assert belief.earlier.said == "possible"
    over = step.ended(belief, time_s + 180.0)
    assert over.past is not None
    assert over.past.said == "possible"
    assert present(over, time_s + 180.0).p_over_limit > 0.9


def test_another_temperature_probe_has_no_course_yet() -> None:
    belief = Belief()._replace(
        baseline=baseline.begun(300.0, 0.0)._replace(warmth_c=25.0, slower_c=24.0, usual_c=25.0),
        temperature=Channel(25.0, 0.0),
    )
    for hours in (0.1, 3.0, 7.0):
        belief = step.with_temperature(belief, 10.0, 3600.0 * hours)
    assert belief.baseline is not None
    assert belief.baseline.expected_c() is None


@pytest.mark.parametrize("under_suspicion", [False, True])
def test_no_all_clear_for_a_day_after_a_refill_without_an_answer(under_suspicion: bool) -> None:
    """Raw top-offs too small for the ORP: the belief in them faded within hours, and the tank was
    called safe while they were over the limit (a virtual home, three said top-offs of 3 %)."""
    state, _ = after(SETUP, story(1.5))
    begun_s = ZERO_S + HOUR_S
    past = replace(
        watch_over(several()), zero_s=begun_s, last_s=begun_s, said="cannot-tell", reported=True,
        poured_by_s=begun_s, all_in_s=begun_s,
    )  # fmt: skip
    belief = state.belief._replace(past=past)
    if under_suspicion:
        suspected = Pour(begun_s + 600.0, announced=False, water=SETUP.inference.water)
        looked_into = replace(past, pour=suspected, said=None, reported=False, before=past)
        belief = belief._replace(past=None, watch=looked_into)
    at_s = ZERO_S + 1.5 * HOUR_S
    now = present(belief, at_s)
    assert now.p_over_limit == (0.0 if under_suspicion else 0.04)  # nothing to its particles
    told = state._replace(belief=belief)
    _, found = stood(SETUP, told, estimate(SETUP.inference, belief, now), now)
    assert [s.standing for s in found] == ["cannot-tell"]


def test_after_a_refill_without_an_answer_it_stays_possible_for_a_day() -> None:
    """One refill in six that ended so left more than the limit (virtual homes, tuning seeds)."""
    begun_s = ZERO_S
    past = replace(watch_over(several()), zero_s=begun_s, said="possible", reported=True)
    belief = Belief(
        past=past, sight=Sight(valid_s=begun_s + 86_400.0, same_since_s=begun_s + 86_400.0)
    )
    for hours, p in ((3.0, 0.04), (23.9, 0.04), (24.0, 0.0)):
        assert present(belief, begun_s + 3600.0 * hours).p_over_limit == p
    clear = belief._replace(past=replace(past, said="clear"))
    assert present(clear, begun_s + 3 * HOUR_S).p_over_limit == 0.0
