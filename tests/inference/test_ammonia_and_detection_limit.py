import numpy as np
import pytest

from afterfill.inference import ammonia
from afterfill.inference.calibration.learnt import Learnt
from afterfill.inference.model.electrode import LOGARITHMIC
from afterfill.inference.posterior.detection_limit import detection_limit_mg_l
from afterfill.inference.setup import Pour, Water

CHLORAMINE = Water("chloramine", 2.0, 2.4, ammonia_mg_l=0.1)


def test_chloramine_becomes_the_ammonia_of_the_mass_balance() -> None:
    # 100 L, 25 %, 2 mg/L NH2Cl and 0.1 mg/L free ammonia: 0.25 (2 x 0.19754 + 0.1) = 0.1238 mg/L
    # of nitrogen (stoichiometry 1 mg Cl2 of NH2Cl = 0.19754 mg N, computed from atomic masses)
    before = ammonia.unmet()
    nothing = ammonia.Ammonia(0 * before.total, before.steady, before.k_per_s)
    after = ammonia.refilled(nothing, Pour(0.0, True, CHLORAMINE, litres=25.0), 100.0)
    assert np.median(after.total) == pytest.approx(0.1238, rel=0.05)


def test_a_filter_brings_ammonia_back_to_its_steady_state() -> None:
    start = ammonia.unmet()
    loaded = ammonia.Ammonia(start.total + 0.5, start.steady, start.k_per_s)
    day = ammonia.aged(loaded, 86_400.0)
    assert np.all(day.total < loaded.total)
    assert np.median(ammonia.aged(loaded, 3e6).total) == pytest.approx(np.median(start.steady))


def test_ageing_in_one_step_is_ageing_in_many() -> None:
    start = ammonia.Ammonia(ammonia.unmet().total + 0.5, *_rest())
    many = start
    for _ in range(60):
        many = ammonia.aged(many, 60.0)
    assert np.allclose(many.total, ammonia.aged(start, 3600.0).total, rtol=1e-12)


def _rest() -> tuple[np.ndarray, np.ndarray]:
    start = ammonia.unmet()
    return start.steady, start.k_per_s


@pytest.mark.parametrize("kit_mg_l", [0.0, 0.25, 1.0, 4.0])
def test_a_kit_moves_the_ensemble_to_what_it_says(kit_mg_l: float) -> None:
    after = ammonia.tested(ammonia.unmet(), kit_mg_l)
    low, middle, high = ammonia.total_of(after)
    assert abs(middle - kit_mg_l) < 0.12 + 0.2 * kit_mg_l
    assert low <= max(kit_mg_l, 0.08) <= high + 0.12


def test_free_ammonia_needs_ph_and_temperature() -> None:
    assert ammonia.free_of(ammonia.unmet(), None, 25.0) is None
    assert ammonia.free_of(ammonia.unmet(), 7.5, None) is None
    known = ammonia.free_of(ammonia.unmet(), 8.0, 25.0)
    assert known is not None
    # Emerson et al. 1975 at pH 8, 25 C: 5.366 % (computed from the equation)
    assert known.q50 / ammonia.total_of(ammonia.unmet()).q50 == pytest.approx(0.05366, rel=1e-3)


def test_the_floor_is_higher_for_chloramine_for_noise_and_unannounced() -> None:
    plain = detection_limit_mg_l(
        Learnt(), LOGARITHMIC, 0.5, announced=True, hocl=0.6, combined=False
    )
    assert detection_limit_mg_l(Learnt(), LOGARITHMIC, 0.5, True, 0.6, combined=True) > plain
    assert detection_limit_mg_l(Learnt(), LOGARITHMIC, 3.0, True, 0.6, combined=False) > plain
    assert detection_limit_mg_l(Learnt(), LOGARITHMIC, 0.5, False, 0.6, combined=False) > plain
    assert (
        detection_limit_mg_l(Learnt(), LOGARITHMIC, 0.5, True, 0.2, combined=False) > plain
    )  # OCl- moves it less


def test_the_floor_lies_above_the_limits_for_fish() -> None:
    # 0.011-0.019 mg/L: EPA 1984 (from memory); no probe of this kind is known to see that
    assert detection_limit_mg_l(Learnt(), LOGARITHMIC, 0.3, True, 0.8, combined=False) > 0.019
