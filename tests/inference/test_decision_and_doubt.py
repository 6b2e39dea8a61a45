"""What guards a *clear*, and the doubts that an interval must hold."""

from dataclasses import replace

import numpy as np
import pytest

from afterfill.inference.belief import Belief
from afterfill.inference.model import priors
from afterfill.inference.model.particles import FREE, PEAK, W_COMBINED, Particles
from afterfill.inference.monitor.decision import word_for
from afterfill.inference.monitor.watch import Watch
from afterfill.inference.posterior.estimate import chlorine_of
from afterfill.inference.quantiles import quantiles_of
from particle_sets import announced, of, particles_of

LIMIT_MG_L = 0.02
AFTER_S = 7200.0


def watch_over(particles: Particles, *, sighted_s: float, p_ever: float) -> Watch:
    """A watch of two hours over a pour of ten minutes."""
    fresh = Watch(
        announced(litres=25.0), 0.0, AFTER_S, particles, LIMIT_MG_L, 25.0, 7.2, 600.0, 700.0
    )
    return replace(fresh, sighted_s=sighted_s, p_ever=p_ever)


def with_peaks(dosed_mg_l: float, short_mg_l: float) -> Particles:
    fresh = particles_of(announced(litres=25.0))
    peaks = np.full(fresh.weights.size, dosed_mg_l)
    peaks[of("short")] = short_mg_l
    return fresh.with_rows(state={PEAK: peaks})


def word(watching: Watch, floor_mg_l: float = 0.05) -> str | None:
    return word_for(watching, AFTER_S, lambda: floor_mg_l)


def test_unseen_water_that_could_have_harmed_is_not_called_clear() -> None:
    unseen = watch_over(with_peaks(0.0, 0.5), sighted_s=0.0, p_ever=0.01)
    assert word(unseen) == "cannot-tell"


def test_unseen_water_too_little_to_matter_is_clear() -> None:
    """Even untreated it could not have exceeded the limit."""
    tiny = watch_over(with_peaks(0.0, 0.5 * LIMIT_MG_L), sighted_s=0.0, p_ever=0.01)
    assert word(tiny) == "clear"


def test_seen_water_is_clear_whatever_it_could_have_brought() -> None:
    seen = watch_over(with_peaks(0.0, 0.5), sighted_s=0.9 * AFTER_S, p_ever=0.01)
    assert word(seen) == "clear"


@pytest.mark.parametrize(("floor_mg_l", "said"), [(0.05, "possible"), (0.9, "cannot-tell")])
def test_what_may_have_got_in_below_the_detection_limit_cannot_be_told(
    floor_mg_l: float, said: str
) -> None:
    half = watch_over(with_peaks(0.3, 0.3), sighted_s=0.9 * AFTER_S, p_ever=0.4)
    assert word(half, floor_mg_l) == said


def test_the_estimate_is_wider_than_its_particles_by_the_doubt_in_the_law() -> None:
    """Particles that all agree still leave the law's own doubt: log-normal with LAW_SIGMA."""
    fresh = particles_of(announced(litres=25.0))
    agreed = fresh.with_rows(state={FREE: np.full(fresh.weights.size, 0.2)})
    belief = Belief()._replace(watch=watch_over(agreed, sighted_s=0.0, p_ever=0.5))
    total, _, _ = chlorine_of(belief, AFTER_S)
    raw = quantiles_of(agreed.residual, agreed.weights)
    assert raw.q05 == raw.q95 == pytest.approx(0.2)
    spread = np.exp(1.645 * priors.LAW_SIGMA)
    assert total.q95 == pytest.approx(0.2 * spread, rel=0.15)
    assert total.q05 == pytest.approx(0.2 / spread, rel=0.15)


def test_how_much_chloramine_counts_is_drawn_and_not_fixed() -> None:
    theta = particles_of(announced(litres=25.0)).parameters
    log_weight = np.log(theta[W_COMBINED])
    assert np.std(log_weight) == pytest.approx(priors.W_COMBINED_SIGMA, rel=0.15)
    assert np.median(theta[W_COMBINED]) == pytest.approx(priors.W_COMBINED, rel=0.05)
