"""The detection floor's two steps in millivolts, held against what the filter really calls."""

import math

import numpy as np
import pytest

from afterfill.inference import step, words
from afterfill.inference.belief import Belief
from afterfill.inference.posterior.detection_limit import (
    NEED_ANNOUNCED_MV,
    NEED_NOISES,
    NEED_UNANNOUNCED_MV,
)
from afterfill.inference.setup import Pour, Setup, Water

_EVERY_S, _RISE_S, _NOISE_MV = 20.0, 180.0, 1.0
_QUIET_STEPS, _WATCHED_STEPS = 300, 90
SETUP = Setup("t", 100.0, 0.011, Water("chlorine", 1.5, 2.5), 40.0)


def called(step_mv: float, *, announced: bool, seed: int) -> bool:
    """Whether a rise by `step_mv` that comes within minutes is called within half an hour, at
    a tank whose pH and temperature tell nothing."""
    random, time_s, belief = np.random.default_rng(seed), 1.8e9, Belief()

    def read(orp_mv: float) -> None:
        nonlocal belief, time_s
        belief = step.with_ph(belief, 7.0, time_s)
        belief = step.with_temperature(belief, 25.0, time_s)
        noisy_mv = orp_mv + _NOISE_MV * float(random.standard_normal())
        belief = step.stepped(SETUP, belief, time_s, round(noisy_mv, 1))
        time_s += _EVERY_S

    for _ in range(_QUIET_STEPS):
        read(300.0)
    if announced:
        pour = Pour(time_s, True, SETUP.water, litres=15.0, minutes=5.0, neutraliser_ml=0.9)
        belief = words.poured(SETUP, belief, pour, time_s)
    highest = 0.0
    for number in range(_WATCHED_STEPS):
        read(300.0 + step_mv * (1.0 - math.exp(-number * _EVERY_S / _RISE_S)))
        highest = max(highest, 0.0 if belief.watch is None else belief.watch.p_ever)
    return highest >= 0.9


@pytest.mark.parametrize(
    ("announced", "need_mv"), [(True, NEED_ANNOUNCED_MV), (False, NEED_UNANNOUNCED_MV)]
)
def test_a_step_of_the_floors_size_is_called_and_half_of_it_hardly_ever(
    announced: bool, need_mv: float
) -> None:
    at_floor_mv = need_mv + NEED_NOISES * _NOISE_MV
    assert all(called(at_floor_mv, announced=announced, seed=seed) for seed in range(6))
    half = [called(0.5 * at_floor_mv, announced=announced, seed=seed) for seed in range(12)]
    assert sum(half) <= 2
