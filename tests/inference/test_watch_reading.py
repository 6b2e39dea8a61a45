"""What is read from a watch, and what a person or another probe does to it."""

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from afterfill.inference.doses import as_believed
from afterfill.inference.model.electrode import LOGARITHMIC
from afterfill.inference.model.hypotheses import index_of
from afterfill.inference.model.observations import ChlorineKit, as_read
from afterfill.inference.model.particles import (
    BACKGROUND_VAR,
    COMBINED,
    FRACTION,
    FREE,
    NEUTRALISER,
    PEAK,
)
from afterfill.inference.model.regularisation import Ridge
from afterfill.inference.monitor import watch as watches
from afterfill.inference.monitor.watch import advanced
from afterfill.inference.quantiles import quantiles_of
from afterfill.records import Quantiles
from known_watches import LIMIT_MG_L, UNSEEN, ZERO_S, N, in_pairs, several, watch_over

DAY_S = 86_400.0
ALL = N * (N + 1) / 2.0  # the numbers from 1 to N


def test_the_probabilities_are_the_weights_of_what_is_over_the_limit() -> None:
    """Strictly: what stands at the limit is not over it. What is there now is read through the
    law's doubt, the peak is not."""
    particles = several(combined=0.1, peak=np.linspace(0.1, 1.0, N))
    read = as_read(particles.residual)
    limit_mg_l = float(np.sort(read)[3])
    particles = particles.with_rows(state={PEAK: np.where(np.arange(N) < 4, 0.5, limit_mg_l)})
    weights = np.arange(1.0, N + 1.0) / ALL
    watch = watch_over(particles.with_weights(weights), limit_mg_l=limit_mg_l)
    after = advanced(watch, watch.last_s + 10.0, UNSEEN, LOGARITHMIC)
    assert after.p_now == pytest.approx(float(weights[read > limit_mg_l].sum()))
    assert (read > limit_mg_l).sum() == N - 4
    assert watches.log_odds_of(watch) == pytest.approx(math.log(10.0 / (ALL - 10.0)))
    peaks = several(peak=np.where(np.arange(N) < 4, 0.5, limit_mg_l)).with_weights(weights)
    clean = replace(watch, particles=peaks)
    p_ever = advanced(clean, watch.last_s + 10.0, UNSEEN, LOGARITHMIC).p_ever
    assert p_ever == pytest.approx(10.0 / ALL)


@pytest.mark.parametrize(("peak", "odds"), [(0.0, 1e-6), (1.0, 1e6)])
def test_odds_are_never_certain(peak: float, odds: float) -> None:
    assert watches.log_odds(several(peak=peak), LIMIT_MG_L) == pytest.approx(math.log(odds))


def test_total_free_and_combined_chlorine_are_read_with_the_laws_doubt() -> None:
    particles = several(free=np.linspace(0.0, 0.2, N), combined=np.linspace(0.6, 0.3, N))
    watch = watch_over(particles, last_s=ZERO_S)
    rows = particles.residual, particles.state[FREE], particles.state[COMBINED]
    expected = tuple(quantiles_of(as_read(row), particles.weights) for row in rows)
    assert watches.chlorine_of(watch.particles) == expected
    assert watches.residual_of(watch) == expected[0]
    bound = replace(watch, particles=several(combined=0.3))
    total, free, combined = watches.chlorine_of(bound.particles)
    assert free == Quantiles(0.0, 0.0, 0.0)
    assert total == combined == quantiles_of(as_read(np.full(N, 0.3)), particles.weights)


def test_peak_and_fraction() -> None:
    fractions = np.concatenate((np.zeros(4), np.full(N - 4, 0.2)))
    watch = watch_over(several({FRACTION: fractions}, peak=np.arange(float(N))))
    low, middle, high = watches.peak_of(watch)
    assert (low, high) == (0.0, N - 1.0)
    assert middle in (N / 2.0 - 1.0, N / 2.0)
    assert watches.fraction_of(watch) == Quantiles(0.2, 0.2, 0.2)  # of those that poured
    unlikely = watch.particles.with_weights(np.where(fractions > 0.0, 1e-9, 0.25))
    assert watches.fraction_of(replace(watch, particles=unlikely)) == Quantiles(0.2, 0.2, 0.2)
    assert watches.fraction_of(watch_over()) == Quantiles(0.0, 0.0, 0.0)


def test_the_probability_of_a_refill_is_that_of_the_hypotheses_that_pour() -> None:
    weights = np.arange(1.0, N + 1.0) / ALL
    watch = watch_over(several().with_weights(weights))
    assert watches.probability_of_refill(watch) == 1.0
    suspected = replace(watch, pour=replace(watch.pour, announced=False))
    never = [index_of("disturbance"), index_of("steady-influence")]
    pours = 1.0 - sum(weights[2 * n] + weights[2 * n + 1] for n in never)
    assert watches.probability_of_refill(suspected) == pytest.approx(pours)


def test_the_evidence_adds_up_to_the_odds() -> None:
    """Four particles are over the limit, all others are not."""
    peaks = np.where(np.arange(N) < 4, 0.5, 0.0)
    moved = {"moved_orp": 1.0, "moved_temperature": 0.2, "moved_ph": -0.5, "moved_kit": 2.0}
    told = watches.evidence_of(watch_over(several(peak=peaks), **moved))
    assert [part.source for part in told] == ["mass balance", "orp", "temperature", "ph", "kit"]
    logs = [part.log_odds for part in told]
    assert logs == pytest.approx([math.log(4.0 / (N - 4.0)) - 2.7, 1.0, 0.2, -0.5, 2.0])


@pytest.mark.parametrize(("known", "spent"), [
    ({}, True),
    ({"p_now": 0.003}, False),
    ({"p_now": 0.0029}, True),
    ({"p_now": 1.0, "zero_s": ZERO_S - 5.0 * DAY_S}, False),
    ({"p_now": 1.0, "zero_s": ZERO_S - 5.0 * DAY_S - 1.0}, True),
])  # fmt: skip
def test_a_past_watch_is_spent_after_five_days_or_once_it_cannot_matter(
    known: dict[str, Any], spent: bool
) -> None:
    assert watches.is_spent(watch_over(**known), ZERO_S) == spent


@pytest.mark.parametrize(
    ("known", "undecided"),
    [
        ({}, True),
        ({"said": "possible"}, True),
        ({"said": "clear"}, False),
        ({"said": "carried-over"}, False),
        ({"reported": False}, False),
        ({"moved_kit": -0.2}, False),
    ],
)
def test_a_refill_without_an_answer_is_kept_for_a_day_though_nothing_seems_left(
    known: dict[str, Any], undecided: bool
) -> None:
    """Else the all-clear would come with the particles' end, though nothing had told."""
    past = watch_over(**{"said": "cannot-tell", "reported": True, **known})
    for after_s, expected in ((3600.0, undecided), (DAY_S - 1.0, undecided), (DAY_S, False)):
        assert watches.is_undecided(past, ZERO_S + after_s) == expected
        assert watches.is_spent(past, ZERO_S + after_s) != expected


def test_a_quarter_of_the_limit_still_matters() -> None:
    watch = watch_over(several(combined=0.1))
    high = watches.residual_of(watch).q95
    assert not watches.is_spent(replace(watch, limit_mg_l=4.0 * high), ZERO_S)
    assert watches.is_spent(replace(watch, limit_mg_l=4.001 * high), ZERO_S)


# --- what a person or another probe does to it -------------------------------------------------


@pytest.mark.parametrize("free_only", [True, False])
def test_a_test_kit_weighs_the_particles_by_what_it_measures(free_only: bool) -> None:
    particles = several(free=in_pairs(0.3), combined=0.2, peak=in_pairs(0.5))
    particles = particles.with_weights(in_pairs(0.8 / N, 1.2 / N))  # odds of 2 to 3
    ridge = Ridge(0.35, -3.7, 1.15)
    watch = watch_over(particles, limit_mg_l=0.35, moved_kit=0.5, ridge=ridge, kit_mg_l=0.4)
    of = particles.state[FREE] if free_only else particles.residual
    alone = ChlorineKit(of).update(particles, 0.3)
    after = watches.tested(watch, 0.3, 7.2, free_only=free_only)
    assert after.particles.weights == pytest.approx(alone.weights)
    over = float(alone.weights[::2].sum())
    assert after.moved_kit == pytest.approx(0.5 + math.log(over / (1.0 - over) * 1.5))
    assert after.p_ever == pytest.approx(over)
    over_now = as_read(particles.residual) > 0.35
    assert after.p_now == pytest.approx(float(alone.weights[over_now].sum()))
    assert 0 < over_now.sum() < N
    assert (after.kit_mg_l, after.ridge) == (0.4, None)
    assert watches.tested(watch, 0.6, 7.2, free_only=free_only).kit_mg_l == 0.6


def test_a_dose_is_added_to_the_surplus_as_each_particle_takes_its_strength_to_be() -> None:
    watch = watch_over(several(neutraliser=0.1))
    after = watches.dosed(watch, 0.8).particles.state[NEUTRALISER]
    assert after == pytest.approx(0.1 + as_believed(0.8, N))


def test_another_probe_is_one_whose_background_is_not_known() -> None:
    after = watches.unmoored(watch_over(orp_mv=300.0))
    assert after.orp_mv is None
    assert after.particles.state[BACKGROUND_VAR].tolist() == [200.0**2] * N


def test_a_watch_begun_once_more_keeps_name_and_words() -> None:
    old = watch_over(refill_time_s=5.0, reported=True, said="possible")
    fresh = watch_over(refill_time_s=9.0, p_now=0.25)
    assert watches.over_same_refill(fresh, old) == replace(
        fresh, refill_time_s=5.0, reported=True, said="possible"
    )


@pytest.mark.parametrize(("known", "needs"), [
    ({}, True), ({"unexplained": 3}, False), ({"p_now": 0.5}, False),
    ({"poured_by_s": ZERO_S}, False),  # ten minutes ago
])  # fmt: skip
def test_new_particles_are_needed_when_readings_stay_unexplained_after_the_pour(
    known: dict[str, Any], needs: bool
) -> None:
    settled: dict[str, Any] = {"unexplained": 4, "p_now": 0.49, "poured_by_s": ZERO_S - 0.1}
    assert watches.needs_new_particles(watch_over(**settled | known)) == needs
