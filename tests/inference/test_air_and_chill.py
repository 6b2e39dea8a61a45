"""A probe in the air teaches nothing, and cold water is felt whatever is being watched."""

import math

import numpy as np

from afterfill.inference import history, step, words
from afterfill.inference.model.particles import NEUTRALISER
from afterfill.inference.monitor import data_quality as sight
from afterfill.inference.monitor.watch import probability_of_refill
from filter_tank import EVERY_S, SETUP, Tank, odds_by_orp


def test_what_a_probe_showed_in_the_air_is_taken_back() -> None:
    tank = Tank()
    tank.rest(60)
    tank.pour()
    tank.in_the_air(3)
    assert sight.why_blind(tank.belief.sight, tank.time_s) is not None
    assert abs(odds_by_orp(tank)) < 0.5
    shown = history.span(tank.belief.history, tank.time_s - 180.0, tank.time_s)
    assert np.all(np.isnan(shown[:, history.ORP]))


def test_the_rise_after_the_air_is_called_as_if_the_air_had_not_been() -> None:
    tank = Tank()
    tank.rest(60)
    tank.pour()
    tank.in_the_air(3)
    for number in range(120):
        tank.read(300.0 + 70.0 * (1.0 - math.exp(-number * EVERY_S / 180.0)))
    assert tank.belief.watch is not None
    assert tank.belief.watch.p_ever > 0.9


def test_a_dose_into_the_tank_is_not_forgotten_with_the_air() -> None:
    tank = Tank()
    tank.rest(60)
    tank.pour()
    tank.belief = words.dosed(SETUP, tank.belief, 5.0, tank.time_s)
    tank.in_the_air(3)
    assert tank.belief.watch is not None
    assert np.median(tank.belief.watch.particles.state[NEUTRALISER]) > 0.5


def test_a_probe_back_from_the_air_is_not_held_for_away_while_the_water_moves_it_one_way() -> None:
    tank = Tank()
    tank.rest(60)
    tank.in_the_air(4)
    for number in range(36):
        tank.read(300.0 + 6.0 * number)
    assert sight.why_blind(tank.belief.sight, tank.time_s) is None


def test_cold_water_is_felt_while_a_mere_disturbance_is_watched() -> None:
    tank = Tank()
    tank.rest(180)
    for number in range(90):  # feeding: up, and slowly down
        tank.read(300.0 + 14.0 * math.exp(-number / 200.0))
    suspected = tank.belief.watch
    assert suspected is not None
    assert probability_of_refill(suspected) < 0.5
    for number in range(90):
        tank.read(309.0, 25.0 - 3.0 * min(number / 30.0, 1.0))
    assert tank.belief.watch is not None
    assert tank.belief.watch.zero_s > suspected.zero_s
    assert probability_of_refill(tank.belief.watch) > 0.5


def test_suspicion_is_awake_soon_after_a_watch_has_ended() -> None:
    tank = Tank()
    tank.rest(60)
    tank.pour()
    tank.rest(30)
    tank.belief = step.ended(tank.belief, tank.time_s)
    tank.rest(6)
    for number in range(30):
        tank.read(300.0 + 50.0 * (1.0 - math.exp(-number * EVERY_S / 120.0)))
    assert tank.belief.watch is not None


def test_the_longer_a_probe_was_in_the_air_the_longer_it_is_not_trusted() -> None:
    blind_min = []
    for minutes in (4, 40):
        tank = Tank()
        tank.rest(60)
        tank.in_the_air(minutes)
        since_s = tank.time_s
        while sight.why_blind(tank.belief.sight, tank.time_s) is not None:
            tank.read(300.0)
        blind_min.append((tank.time_s - since_s) / 60.0)
    assert 3.0 <= blind_min[0] <= 5.0
    assert 14.0 <= blind_min[1] <= 17.0


def test_a_leap_of_the_temperature_is_not_believed_and_calls_no_water() -> None:
    tank = Tank()
    tank.rest(60)
    for _ in range(6 * 50):
        tank.read(300.0, 8.0)  # the pH probe's number in the temperature's place
    assert tank.belief.watch is None
    for _ in range(6):
        tank.read(300.0)
    assert tank.belief.temperature.value == 25.0


def test_a_leap_that_has_stood_for_hours_is_another_probe_and_no_water() -> None:
    tank = Tank()
    tank.rest(60)
    for _ in range(6 * 45):
        tank.read(300.0, 8.0)
    assert tank.belief.temperature.at(tank.time_s) is None
    for _ in range(6 * 60 * 6):
        tank.read(300.0, 8.0)
    assert tank.belief.temperature.at(tank.time_s) == 8.0
    assert tank.belief.watch is None


def test_cold_water_in_two_minutes_is_believed() -> None:
    tank = Tank()
    tank.rest(60)
    for number in range(12):
        tank.read(300.0, 25.0 - 0.75 * number)  # half of it from 8 C
    assert tank.belief.temperature.value == 25.0 - 0.75 * 11
