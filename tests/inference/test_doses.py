"""Neutraliser that goes into the tank before the water, or before the water is told of."""

import math
from dataclasses import replace

import numpy as np
import pytest

from afterfill.inference import doses, step, words
from afterfill.inference.belief import Belief
from afterfill.inference.model import priors
from afterfill.inference.model.particles import NEUTRALISER
from afterfill.inference.setup import Pour, Setup, Water
from afterfill.records import Dose
from afterfill.tank import TankState, folded
from tank_stories import config_of, setup_of

SETUP = Setup("t", 100.0, 0.011, Water("chlorine", 1.5, 2.5), 40.0)
BEGIN_S = 1.8e9
POUR = Pour(BEGIN_S, announced=True, water=SETUP.water, litres=25.0, minutes=5.0)


def quiet(belief: Belief, from_s: float, minutes: float, orp_mv: float = 300.0) -> Belief:
    for number in range(int(minutes * 6)):
        value = orp_mv + 0.4 * (number % 3)
        belief = step.stepped(SETUP, belief, from_s + 10.0 * number, value)
    return belief


def surplus(belief: Belief) -> float:
    assert belief.watch is not None
    return float(np.median(belief.watch.particles.state[NEUTRALISER]))


@pytest.fixture(scope="module")
def rested() -> Belief:
    return quiet(Belief(), BEGIN_S - 3600.0, 55.0)


def test_a_dose_before_the_pour_is_in_every_story(rested: Belief) -> None:
    dosed = words.dosed(SETUP, rested, 2.0, BEGIN_S - 300.0)
    poured = words.poured(SETUP, dosed, POUR, BEGIN_S)
    assert surplus(words.poured(SETUP, rested, POUR, BEGIN_S)) < 0.01
    assert surplus(poured) == pytest.approx(0.8, rel=0.1)  # 2 mL of 40 mg/mL in 100 L


def test_a_pour_told_of_afterwards_knows_the_doses_before_and_after_it(rested: Belief) -> None:
    belief = words.dosed(SETUP, rested, 1.0, BEGIN_S - 400.0)
    belief = quiet(belief, BEGIN_S - 300.0, 10.0)
    belief = words.dosed(SETUP, belief, 1.0, BEGIN_S + 280.0)
    belief = quiet(belief, BEGIN_S + 300.0, 5.0)
    told = words.poured(SETUP, belief, replace(POUR, neutraliser_ml=0.0), BEGIN_S + 600.0)
    untold = words.poured(
        SETUP, belief._replace(doses=doses.none()), replace(POUR, neutraliser_ml=0.0),
        BEGIN_S + 600.0,
    )  # fmt: skip
    assert told.watch is not None
    assert untold.watch is not None
    assert told.watch.p_now < untold.watch.p_now


def test_water_after_other_water_does_not_meet_a_dose_twice(rested: Belief) -> None:
    belief = words.poured(SETUP, rested, POUR, BEGIN_S)
    belief = words.dosed(SETUP, belief, 2.0, BEGIN_S + 5.0)
    once = surplus(belief)
    again = words.poured(SETUP, belief, replace(POUR, time_s=BEGIN_S + 8.0), BEGIN_S + 8.0)
    assert surplus(again) <= 1.01 * once


def test_a_dose_told_of_later_counts_from_when_it_went_in() -> None:
    setup = setup_of(config_of())
    told = Dose(BEGIN_S, setup.inference.tank, 2.0, logged_s=BEGIN_S + 900.0)
    state, _ = folded(setup, TankState(), told)
    assert state.belief.doses[0, 0] == BEGIN_S


def test_what_is_left_of_a_dose_fades_as_in_the_stories() -> None:
    book = doses.appended(doses.none(), 0.0, 1.0)
    assert doses.left_mg_l(book, 7200.0) == pytest.approx(math.exp(-2.0 * priors.K_SURPLUS_PER_H))
    assert doses.left_mg_l(book, -1.0) == 0.0
    assert doses.between_mg_l(book, -1.0, 0.0) == 1.0
    assert doses.between_mg_l(book, 0.0, 1.0) == 0.0


def test_doses_that_no_watch_can_ask_for_are_forgotten() -> None:
    book = doses.appended(doses.none(), 0.0, 1.0)
    assert doses.appended(book, 40_000.0, 2.0).shape == (1, 2)
