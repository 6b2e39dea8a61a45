"""A tank that warms while its source is colder: no water has done that."""

from dataclasses import replace

import numpy as np

from afterfill.inference.launch import as_cold_as_felt, launched, share_of
from afterfill.inference.learnt import Learnt
from afterfill.inference.quantiles import quantiles_alike, quantiles_of
from afterfill.inference.setup import Pour, Setup, Water
from afterfill.inference.watch import Watch, fraction_of
from afterfill.records import Quantiles

COLD = Water("chlorine", 2.0, 3.0, temperature_c=5.0)
SUSPECTED = Pour(0.0, announced=False, water=COLD)
BANK = launched(
    Setup("t", 100.0, 0.02, COLD), SUSPECTED, 300.0, 1.0, 25.0, share_of(SUSPECTED, False), Learnt()
)


def test_warmth_takes_no_water_from_stories_of_a_colder_source() -> None:
    felt = as_cold_as_felt(BANK.traits, 25.0, 1.5, source_known=True)
    assert np.array_equal(felt.fraction > 0.0, BANK.traits.fraction > 0.0)


def test_where_no_story_has_water_the_share_is_none() -> None:
    dry = replace(BANK, traits=replace(BANK.traits, fraction=np.zeros_like(BANK.free)))
    watching = Watch(SUSPECTED, 0.0, 0.0, dry, 0.02, 25.0, 7.2, 0.0, 0.0)
    assert fraction_of(watching) == Quantiles(0.0, 0.0, 0.0)


def test_quantiles_of_values_that_weigh_nothing_are_those_of_all_alike() -> None:
    values = np.arange(100.0)
    assert quantiles_of(values, np.zeros(100)) == quantiles_alike(values)
