"""What is asked outside a relation's range is refused with one sentence, never clamped."""

from collections.abc import Callable

import numpy as np
import pytest

from afterfill.chemistry import (
    acid_base,
    carbonate,
    chloramine,
    electrode,
    limits,
    mixing,
    neutraliser,
    standards,
    standing,
    stoichiometry,
    toxicity,
)
from afterfill.chemistry.carbonate import Water
from afterfill.chemistry.chloramine import Amounts
from afterfill.chemistry.chloramine_scheme import Conditions
from afterfill.chemistry.electrode import Point
from afterfill.errors import ModelDomainError

NAN = float("nan")
WATER = Conditions(7.5, 25.0)
ACID = Conditions(5.0, 25.0)
TOTALS = carbonate.totals_of(Water(7.4, 80.0, 100.0, 25.0))
FREE = standing.free_half_life_h()

REFUSED: dict[str, Callable[[], object]] = {
    "pH above 14": lambda: acid_base.nh3_fraction(14.1, 25.0),
    "pH unknown": lambda: acid_base.hocl_fraction(NAN, 25.0),
    "one of an array unknown": lambda: acid_base.nh3_fraction(np.array([7.0, NAN]), 25.0),
    "one of an array too warm": lambda: acid_base.nh3_fraction(7.0, np.array([25.0, 60.0])),
    "water frozen": lambda: acid_base.nh3_fraction(7.0, -1.0),
    "too warm for Morris": lambda: acid_base.hocl_fraction(7.0, 35.1),
    "sea water": lambda: acid_base.nh3_fraction(8.0, 25.0, 0.7),
    "ionic strength below 0": lambda: acid_base.hocl_fraction(7.0, 25.0, -0.01),
    "fraction above 1": lambda: mixing.mixed(0.0, 1.0, 1.1),
    "more than the tank holds": lambda: mixing.refilled_fraction(100.0, 101.0),
    "tank without volume": lambda: mixing.refilled_fraction(0.0, 0.0),
    # Wrong on purpose: types forbid the next one, a caller without a type checker may try.
    "unknown mode": lambda: mixing.refilled_fraction(100.0, 1.0, "drip"),  # type: ignore[arg-type]  # meant
    "chloramine below 0": lambda: stoichiometry.ammonia_from_chloramine(-0.1),
    "ammonia below 0": lambda: chloramine.simulate(Amounts(1.0, -0.1), WATER, [1.0]),
    "chlorine to nitrogen of breakpoint": lambda: stoichiometry.uncombined_ammonia(2.0, 9.0),
    "pH outside the carbonate system": lambda: carbonate.totals_of(Water(4.0, 80.0, 100.0, 25.0)),
    "alkalinity of soda": lambda: carbonate.totals_of(Water(8.0, 5000.0, 100.0, 25.0)),
    "pH outside the scheme": lambda: chloramine.simulate(
        Amounts(1.0), Conditions(5.0, 25.0), [1.0]
    ),
    "times that fall": lambda: chloramine.simulate(Amounts(1.0), WATER, [2.0, 1.0]),
    "amount below 0": lambda: chloramine.simulate(Amounts(-1.0), WATER, [1.0]),
    "secret agent": lambda: neutraliser.routes("other"),
    "unknown agent": lambda: neutraliser.routes("lemon"),
    "unknown agent's behaviour": lambda: neutraliser.behaviour("lemon"),
    "label of nothing": lambda: neutraliser.mg_cl2_per_ml_from_label(0.0, 200.0, 1.0),
    "no strength": lambda: neutraliser.needed_ml(25.0, 2.0, 0.0),
    "no water": lambda: neutraliser.removed_mg_l(1.0, 0.0, 40.0),
    "limit of nothing": lambda: standing.hours_until(1.0, 0.0, FREE),
    "unknown way of standing": lambda: standing.combined_half_life_h("boiling"),
    "unknown disinfectant": lambda: standing.waiting("ozone", 1.0, 0.011),
    "unknown disinfectant held": lambda: standing.held_for(1.0, 1.0, "ozone"),
    "pH outside the criteria": lambda: toxicity.ammonia_acute_mg_l(6.0, 20.0),
    "too warm for the criteria": lambda: toxicity.ammonia_chronic_mg_l(7.0, 31.0),
    "less than no chloramine": lambda: toxicity.time_left(-0.5),
    "unknown livestock": lambda: limits.default_limits("whale"),
    "electrode too warm": lambda: electrode.slope_mv_per_ph(60.0),
    "no points": lambda: electrode.calibrate([]),
    "buffers too close": lambda: electrode.calibrate([Point(7.0, 0, 25), Point(6.86, 8, 25)]),
    "buffers swapped": lambda: electrode.calibrate([Point(7.0, 170, 25), Point(4.0, 0, 25)]),
    "buffer too warm": lambda: standards.buffer_ph("4.00", 34.0),
    "unknown buffer": lambda: standards.buffer_ph("5.00", 25.0),
    "unknown ORP standard": lambda: standards.orp_standard_mv("cola", 25.0),
}


@pytest.mark.parametrize("array", [[7.0, 15.0, 8.0], [7.0, -2.0, 8.0]])
def test_a_refusal_names_the_value_of_an_array_that_is_wrong(array: list[float]) -> None:
    with pytest.raises(ModelDomainError, match=f"pH is {array[1]:g}: .* from 0 to 14"):
        acid_base.nh3_fraction(np.array(array), 25.0)


@pytest.mark.parametrize("ask", REFUSED.values(), ids=list(REFUSED))
def test_out_of_range_is_refused_in_one_sentence(ask: Callable[[], object]) -> None:
    with pytest.raises(ModelDomainError) as refusal:
        ask()
    text = str(refusal.value)
    assert 15 < len(text) < 160
    assert "\n" not in text
