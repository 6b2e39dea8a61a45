"""What may be going on: each hypothesis on its own, and beside the others."""

from collections.abc import Iterable

import numpy as np
import pytest

from afterfill.inference.model.hypotheses import HYPOTHESES, SIZES, N, index_of, prior_weights
from afterfill.inference.model.particles import NEUTRALISER
from afterfill.records import Input
from afterfill.simulation.virtual_tank import Inflow
from afterfill.simulation.virtual_water import WaterState
from afterfill.tank import TankState, folded
from afterfill.tank_setup import TankSetup
from particle_sets import announced, of, particles_of, start_of, suspected
from tank_stories import config_of, merged, pour, raw, refill, setup_of, story

CHLORINE = setup_of(config_of("chlorine", 2.0))
POURS = [announced(), announced(neutraliser_ml=0.0), announced(neutraliser_ml=5.0), suspected()]


def weight_of(state: TankState, name: str) -> float:
    """Posterior probability of a hypothesis under watch."""
    assert state.belief.watch is not None
    particles = state.belief.watch.particles
    return float(particles.weights[particles.groups[index_of(name)]].sum())


def after(setup: TankSetup, inputs: Iterable[Input]) -> TankState:
    state = TankState()
    for record in inputs:
        state, _ = folded(setup, state, record)
    return state


def test_each_has_a_name_of_its_own_and_particles_enough() -> None:
    names = [hypothesis.name for hypothesis in HYPOTHESES]
    assert len(names) == len(set(names))
    assert min(SIZES) >= 64


@pytest.mark.parametrize("said", POURS, ids=["announced", "said-none", "said-dosed", "suspected"])
def test_prior_weights_add_up_and_leave_none_out(said: object) -> None:
    weights = prior_weights(start_of(said))  # type: ignore[arg-type]  # pours, by their ids
    assert weights.sum() == pytest.approx(1.0)
    assert weights.size == N
    for hypothesis in HYPOTHESES:
        assert weights[of(hypothesis.name)].sum() > 0.0


def test_saying_that_none_was_dosed_speaks_against_a_dose() -> None:
    none, some = (prior_weights(start_of(announced(neutraliser_ml=ml))) for ml in (0.0, 5.0))
    assert none[of("dosed")].sum() < 0.05 < 0.5 < some[of("dosed")].sum()


# --- neutraliser was in the tank before the pour --------------------------------------------------


def dosed_before(mg_l: float) -> list[Inflow]:
    """Neutraliser into the tank ten minutes before raw water comes."""
    dose = WaterState(neutraliser=1000.0 * mg_l)
    return [pour(0.85, 0.001, dose, minutes=1.0), pour(1, 0.25, raw("chlorine", 2.0))]


def test_beforehand_holds_neutraliser_and_the_others_none() -> None:
    drawn = particles_of(announced(neutraliser_ml=0.0))
    beforehand = drawn.state[NEUTRALISER, of("dosed-beforehand")]
    assert np.median(beforehand) == pytest.approx(2.0, rel=0.02)  # the source's usual strength
    assert np.all(drawn.state[NEUTRALISER, ~of("dosed-beforehand")] == 0.0)


def test_raw_water_into_a_dosed_tank_is_believed_when_nothing_shows() -> None:
    said = refill(1, litres=25, minutes=10, neutraliser_ml=0)
    before = prior_weights(start_of(announced(neutraliser_ml=0.0)))[of("dosed-beforehand")].sum()
    state = after(CHLORINE, merged(story(1.2, dosed_before(2.0)), [said]))
    assert weight_of(state, "dosed-beforehand") > 2.0 * before
    assert weight_of(state, "short") < 0.05
    assert state.belief.watch is not None
    assert state.belief.watch.p_ever < 0.05


def test_raw_water_into_a_tank_without_neutraliser_is_still_called_at_once() -> None:
    said = refill(1, litres=25, minutes=10, neutraliser_ml=0)
    state = after(CHLORINE, merged(story(1.2, [pour(1, 0.25, raw("chlorine", 2.0))]), [said]))
    assert weight_of(state, "dosed-beforehand") < 0.02
    assert state.belief.watch is not None
    assert state.belief.watch.p_ever > 0.95
