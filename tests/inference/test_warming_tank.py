"""A tank that warms while its source is colder: no water has done that."""

import numpy as np

from afterfill.inference.model.initial import as_cold_as_felt
from afterfill.inference.model.particles import FRACTION
from afterfill.inference.monitor.watch import Watch, fraction_of
from afterfill.inference.quantiles import quantiles_alike, quantiles_of
from afterfill.inference.setup import Setup, Water
from afterfill.records import Quantiles
from particle_sets import particles_of, suspected

COLD = Water("chlorine", 2.0, 3.0, temperature_c=5.0)
PARTICLES = particles_of(suspected(COLD), Setup("t", 100.0, 0.02, COLD))


def test_warmth_takes_no_water_from_particles_of_a_colder_source() -> None:
    before = PARTICLES.parameters
    felt = as_cold_as_felt(before, 25.0, 1.5, source_known=True)
    assert np.array_equal(felt[FRACTION] > 0.0, before[FRACTION] > 0.0)


def test_where_no_particle_has_water_the_share_is_none() -> None:
    dry = PARTICLES.with_rows({FRACTION: np.zeros(PARTICLES.weights.size)})
    watching = Watch(suspected(COLD), 0.0, 0.0, dry, 0.02, 25.0, 7.2, 0.0, 0.0)
    assert fraction_of(watching) == Quantiles(0.0, 0.0, 0.0)


def test_quantiles_of_values_that_weigh_nothing_are_those_of_all_alike() -> None:
    values = np.arange(100.0)
    assert quantiles_of(values, np.zeros(100)) == quantiles_alike(values)
