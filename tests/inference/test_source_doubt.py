"""A source is believed as far as sources can be: half and twice are common, zero is never sure."""

import numpy as np
import pytest

from afterfill.config import Config
from afterfill.inference.model.parameters import tap_chlorine, tap_sigma
from afterfill.inference.setup import Water
from afterfill.records import AlarmChange, Verdict
from afterfill.records.words import Disinfectant
from tank_stories import config_of, found_in, merged, pour, raw, refill, setup_of, story, treated


def filtered() -> Config:
    config = config_of("chlorine", 2.0)
    return config.model_validate(
        {**config.model_dump(by_alias=True, exclude_unset=True),
         "source": {"tap": {"disinfectant": "chlorine", "residual_mg_l": 0.0}}}
    )  # fmt: skip


@pytest.mark.parametrize("most", [1.0, 1.1, 2.0])
def test_a_narrow_statement_is_not_believed_to_the_last_tenth(most: float) -> None:
    sigma = tap_sigma(Water("chlorine", 1.0, most))
    assert sigma >= 0.35
    free, _ = tap_chlorine(Water("chlorine", 1.0, most), 2000)
    assert np.mean((free > 0.5) & (free < 2.0)) > 0.85
    assert np.mean(free > 1.5) > 0.05


def test_a_filter_may_have_broken_through() -> None:
    free, combined = tap_chlorine(Water("chlorine", 1e-3, 1e-3), 2000)
    either_mg_l = free + combined
    assert np.mean(either_mg_l > 0.2) == pytest.approx(0.05, abs=0.01)


def test_a_known_kind_may_have_changed() -> None:
    """A utility goes over, or takes chlorine for a month: one in thirty of the particles."""
    shares: dict[Disinfectant, float] = {"chlorine": 0.97, "chloramine": 0.03, "unknown": 0.7}
    for kind, share in shares.items():
        free, combined = tap_chlorine(Water(kind, 1.0, 2.0), 2000)
        assert np.mean(free > 0.0) == pytest.approx(share, abs=0.005)
        assert np.all((free == 0.0) != (combined == 0.0))


def test_a_cartridge_that_broke_through_is_called() -> None:
    setup = setup_of(filtered())
    said = refill(1, litres=25, minutes=10, neutraliser_ml=0)
    found = found_in(setup, merged(story(3, [pour(1, 0.25, raw("chlorine", 2.0))]), [said]))
    assert any(isinstance(o, AlarmChange) and o.alarm == "residual-oxidant" and o.active
               for o in found)  # fmt: skip


def test_filtered_water_that_is_clean_is_still_clear() -> None:
    setup = setup_of(filtered())
    said = refill(1, litres=25, minutes=10, neutraliser_ml=0)
    found = found_in(setup, merged(story(4, [pour(1, 0.25, treated())]), [said]))
    assert [v.verdict for v in found if isinstance(v, Verdict)][-1] == "clear"
