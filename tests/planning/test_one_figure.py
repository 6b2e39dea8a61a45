"""The filter and the plan hold the same of a water: one figure stands for one fact."""

from math import hypot, log

import pytest

from afterfill.chemistry.standing import combined_half_life_h, free_half_life_h
from afterfill.config import Config
from afterfill.inference.model import priors
from afterfill.planning.found import found_by_kit
from afterfill.tank_setup import tank_setup
from afterfill.tank_table import bounds_of


def test_standing_water_loses_chlorine_alike_in_filter_and_plan() -> None:
    for per_h, half_life in (
        (priors.STANDING_FREE_PER_H, free_half_life_h()),
        (priors.STANDING_COMBINED_PER_H, combined_half_life_h("open")),
    ):
        assert log(2.0) / per_h == pytest.approx(half_life.middle)


def test_a_dpd_kit_errs_alike_in_filter_and_rescue() -> None:
    upper = found_by_kit(0.5).upper.mg_l
    sd = hypot(priors.KIT_FLOOR_MG_L, 0.5 * priors.KIT_SHARE)
    assert upper == pytest.approx(0.5 + 2.326 * sd)


def test_alarms_keep_the_limits_that_plans_keep() -> None:
    limits = {"ph": [6.5, 8.0]}
    config = Config.model_validate({"tank": {"t": {"litres": 90, "limits": limits}}})
    setup, bounds = tank_setup(config, "t"), bounds_of(config.tank["t"])
    assert setup.inference.limit_mg_l == bounds.residual_oxidant_mg_l
    assert setup.free_ammonia_limit_mg_l == bounds.free_ammonia_mg_l
    assert setup.ph_limits == bounds.ph == (6.5, 8.0)
    assert setup.temperature_limits_c == bounds.temperature_c
