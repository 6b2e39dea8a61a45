"""What a probe shows after it was dry, and what belongs to the time in which it was."""

import math

import numpy as np

from afterfill.inference import history, step
from afterfill.inference.model.particles import BACKGROUND_MV, RESPONSE_MV, START_S
from afterfill.inference.monitor import data_quality as sight
from afterfill.inference.monitor.watch import probability_of_refill
from filter_tank import SETUP, Tank, odds_by_orp

_FELL_TO_MV = 240.0


def slowly_away(tank: Tank, minutes: float) -> None:
    """Falls within minutes, as no single reading gives away, and stays far below."""
    steps = round(minutes * 6)
    for number in range(steps):
        tank.read(max(300.0 - 4.0 * number, _FELL_TO_MV))


def back(tank: Tank, minutes: float, over_mv: float = 0.0) -> float:
    """Leaps back, comes up to its level as a wet surface does, and follows oxidant, if any, to
    `over_mv` above it. The highest probability of a carry-over meanwhile."""
    highest = 0.0
    for number in range(round(minutes * 6)):
        low_mv = 20.0 * math.exp(-number * 10.0 / 1500.0)
        tank.read(300.0 - low_mv + over_mv * (1.0 - math.exp(-number * 10.0 / 300.0)))
        highest = max(highest, 0.0 if tank.belief.watch is None else tank.belief.watch.p_ever)
    return highest


def test_all_that_was_shown_far_below_the_level_is_taken_back() -> None:
    tank = Tank()
    tank.rest(60)
    tank.pour()
    slowly_away(tank, 12)
    back(tank, 0.5)
    assert sight.why_blind(tank.belief.sight, tank.time_s) is not None
    shown = history.span(tank.belief.history, tank.time_s - 630.0, tank.time_s)
    assert np.all(np.isnan(shown[:, history.ORP]))
    assert odds_by_orp(tank) > -2.0


def test_a_surface_on_its_way_to_its_level_is_no_carry_over_and_hides_none() -> None:
    highest = {}
    for over_mv in (0.0, 30.0):
        tank = Tank()
        tank.rest(60)
        tank.pour()
        slowly_away(tank, 10)
        highest[over_mv] = back(tank, 20, over_mv)
    assert highest[0.0] < 0.5
    assert highest[30.0] > 0.9


def test_one_reading_that_falls_away_is_no_air() -> None:
    tank = Tank()
    tank.rest(60)
    tank.read(200.0)
    tank.rest(5)
    assert sight.why_blind(tank.belief.sight, tank.time_s) is None
    assert sight.back_s(tank.belief.sight, tank.time_s) is None


def test_new_stories_begin_with_what_else_moved_the_orp() -> None:
    tank = Tank()
    tank.rest(180)
    for number in range(120):  # feeding: up, and slowly down
        tank.read(300.0 + 18.0 * math.exp(-number / 500.0))
    assert tank.belief.watch is not None
    assert probability_of_refill(tank.belief.watch) < 0.5
    fed_mv = 300.0 + 18.0 * math.exp(-120 / 500.0)
    tank.belief = step.with_new_particles(SETUP, tank.belief, tank.time_s)
    assert tank.belief.watch is not None
    particles = tank.belief.watch.particles
    shown_mv = particles.state[BACKGROUND_MV] + particles.state[RESPONSE_MV]
    expected_mv = particles.weights @ shown_mv
    assert abs(float(expected_mv) - fed_mv) < 8.0


def test_new_stories_have_all_their_water_still_to_come() -> None:
    tank = Tank()
    tank.rest(60)
    tank.pour()
    tank.rest(40)
    old = tank.belief.watch
    assert old is not None
    tank.belief = step.with_new_particles(SETUP, tank.belief, tank.time_s)
    assert tank.belief.watch is not None
    starts_s = tank.belief.watch.particles.parameters[START_S]
    assert np.min(starts_s) >= old.last_s - tank.time_s  # the old particles know of all before


def test_much_colder_water_than_most_is_still_taken_for_water() -> None:
    tank = Tank()
    tank.rest(180)
    for number in range(60):
        tank.read(300.0 + 0.2 * number, 25.0 - 7.0 * min(number / 20.0, 1.0))
    assert tank.belief.watch is not None
    assert probability_of_refill(tank.belief.watch) > 0.9
