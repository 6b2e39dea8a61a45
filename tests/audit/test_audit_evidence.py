"""The evidence against figures: densities, intervals, and what a bet wins when they are right."""

from itertools import pairwise

import numpy as np
import pytest
from scipy import integrate, stats

from afterfill.audit.evidence import (
    BETS,
    REJECTED,
    Bet,
    Fault,
    stake,
    stake_on_more_often,
    stakes,
    won,
)
from afterfill.audit.kits import AMMONIA, CHLORINE, Kit
from afterfill.audit.predictive import SCALES, Span, believed, standing, standings
from afterfill.inference.model import priors
from afterfill.records import Quantiles
from audit_samples import QUIET, shown_by, truth_of

SAID = [Quantiles(0.04, 0.1, 0.3), QUIET, Quantiles(0.1, 0.4, 0.7), Quantiles(0.2, 0.2, 0.2)]
KITS = [CHLORINE, AMMONIA]
KIT_NAMES = ["chlorine", "ammonia"]


@pytest.mark.parametrize("power", [3, 8])
def test_bets_are_beta_densities_on_either_end_and_on_both(power: int) -> None:
    points = np.linspace(0.0, 1.0, 41)
    low, high = stats.beta(power, 1).cdf(points), stats.beta(1, power).cdf(points)
    bets = BETS[:3] if power == 3 else BETS[3:]
    for bet, exact in zip(bets, (low, high, (low + high) / 2), strict=True):
        assert np.allclose([bet.won(float(u)) for u in points], exact, atol=1e-12)


@pytest.mark.parametrize("cuts", [(0.0, 1.0), (0.0, 0.93, 1.0), tuple(np.linspace(0, 1, 11))])
@pytest.mark.parametrize("bet", BETS)
def test_at_fair_odds_a_bet_wins_nothing(bet: Bet, cuts: tuple[float, ...]) -> None:
    """However a kit's steps cut the line: each step is met as often as it is wide."""
    mean = sum((high - low) * won(bet, [Span(low, high)]) for low, high in pairwise(cuts))
    assert mean == pytest.approx(1.0)


@pytest.mark.parametrize("kit", KITS, ids=KIT_NAMES)
@pytest.mark.parametrize("said", SAID)
@pytest.mark.parametrize("read_mg_l", [0.02, 0.15, 0.6])
def test_what_a_kit_shows_is_what_is_believed_with_the_kits_error(
    kit: Kit, said: Quantiles, read_mg_l: float
) -> None:
    """Against SciPy's integral over both normal sides, the error by SciPy's distributions."""
    error = stats.t(4) if kit.tails else stats.norm

    def at_most(z: float) -> float:
        side = said.q50 - said.q05 if z < 0 else said.q95 - said.q50
        truth = max(said.q50 + side / stats.norm.ppf(0.95) * z, 0.0)
        deviation = np.hypot(kit.floor_mg_l, kit.share * truth)
        right = error.cdf((read_mg_l - truth) / deviation) * (1 - kit.low - kit.high)
        low = kit.low * (1.0 if read_mg_l >= truth else read_mg_l / truth)
        return float((right + low + kit.high * min(read_mg_l, 1.0)) * stats.norm.pdf(z))

    exact = sum(integrate.quad(at_most, a, b, limit=200)[0] for a, b in [(-9, 0), (0, 9)])
    shown = float(np.mean(kit.p_at_most(read_mg_l, believed(said), 1.0)))
    assert shown == pytest.approx(exact, abs=2e-3)


def test_the_closed_form_of_the_tails_is_the_one_the_filter_has() -> None:
    assert priors.TAIL_NU == 4.0


@pytest.mark.parametrize("said", SAID)
def test_the_points_that_were_said_are_kept(said: Quantiles) -> None:
    points = np.quantile(believed(said), [0.05, 0.5, 0.95])
    assert np.allclose(points, said, rtol=0.03, atol=0.002)


def test_less_than_a_step_stands_at_the_lower_end() -> None:
    assert standing(QUIET, 0.0, CHLORINE).below == 0.0
    assert standings(QUIET, 0.0, CHLORINE)[0] == Span(0.0, 1.0)
    shown = standing(Quantiles(0.1, 0.3, 0.6), 0.3, CHLORINE)
    assert shown.below < 0.5 < shown.up_to


def test_a_hundred_zeros_on_empty_water_are_no_evidence() -> None:
    """Kits read zero there more often than their errors have it."""
    assert max(stakes([standings(QUIET, 0.0, CHLORINE)] * 100).values()) <= 1.0


def drawn_saying(kit: Kit, random: np.random.Generator) -> Quantiles:
    if kit is CHLORINE and random.random() < 0.6:
        return QUIET
    middle = random.choice([0.05, 0.1, 0.3, 0.8])
    return Quantiles(0.4 * middle, middle, 2.2 * middle)


def drawn_factors(scale: float, tests: int, seed: int, doubt: float = 1.0) -> list[np.ndarray]:
    """What each bet wins on each of `tests`, by kit; the truth strays `doubt` times as far from
    the median as was said."""
    random, factors = np.random.default_rng(seed), []
    for kit, step_mg_l in ((CHLORINE, 0.1), (AMMONIA, 0.25)):
        rows = np.empty((tests, len(BETS)))
        for row in rows:
            said = drawn_saying(kit, random)
            truth = said.q50 + doubt * (truth_of(said, random) - said.q50)
            shown = shown_by(kit, max(truth, 0.0), scale, step_mg_l, random)
            row[:] = [won(bet, standings(said, shown, kit)) for bet in BETS]
        factors.append(rows)
    return factors


def highest(rows: list[np.ndarray]) -> float:
    """The highest evidence at any time of looking, both kits together."""
    tests = len(rows[0])
    each = [
        [np.mean([stake(factors[: n + 1, bet]) for bet in range(len(BETS))]) for n in range(tests)]
        for factors in rows
    ]
    return float(np.max(np.mean(each, axis=0)))


@pytest.mark.parametrize("scale", SCALES)
def test_right_figures_are_seldom_rejected_at_any_time_of_looking(scale: float) -> None:
    """2,000 tanks with 25 tests each; their tests drawn from a pool of 5,000, which is quicker."""
    pool = drawn_factors(scale, 2500, seed=7)
    random = np.random.default_rng(11)
    picks = [random.integers(0, 2500, (2000, 25)) for _ in pool]
    running = np.zeros((2, 2000, len(BETS)))
    reached = np.zeros(2000)
    for n in range(25):
        share = 1.0 / ((n + 1) * (n + 2))
        for kit, (factors, pick) in enumerate(zip(pool, picks, strict=True)):
            running[kit] = (running[kit] + share) * factors[pick[:, n]]
        reached = np.maximum(reached, (running + 1.0 / (n + 2)).mean(axis=(0, 2)))
    assert np.mean(reached >= REJECTED) <= 0.05


def test_figures_that_are_too_sure_are_found_out() -> None:
    """Truths that stray four times as far as was said: found within 30 tests in most tanks."""
    found = [highest(drawn_factors(0.5, 30, seed, 4.0)) >= REJECTED for seed in range(12)]
    assert np.mean(found) >= 0.75


@pytest.mark.parametrize(
    ("shown_mg_l", "fault"), [(0.0, "too-high"), (1.2, "too-low")], ids=["nothing", "far more"]
)
def test_the_fault_is_named(shown_mg_l: float, fault: Fault) -> None:
    ends = stakes([standings(Quantiles(0.2, 0.3, 0.45), shown_mg_l, CHLORINE)] * 8)
    assert ends[fault] >= REJECTED
    assert fault == max(ends, key=lambda it: ends[it])


def test_the_stake_is_spread_over_when_figures_go_wrong() -> None:
    """Half of it lies on the first test; after a hundred that speak for the figures a fault still
    shows within some tests."""
    assert stake([]) == 1.0
    assert stake([4.0]) == pytest.approx(0.5 * 4.0 + 0.5)
    assert stake([0.7] * 100 + [5.0] * 8) > REJECTED


def test_a_stake_never_overflows() -> None:
    assert np.isfinite(stake([1000.0] * 500))


def test_a_bet_on_more_often_is_fair_at_what_was_allowed_and_loses_below() -> None:
    def mean(true: float) -> float:
        happened, not_so = stake_on_more_often([(0.2, True)]), stake_on_more_often([(0.2, False)])
        return true * happened + (1.0 - true) * not_so

    assert mean(0.2) == pytest.approx(1.0)
    assert mean(0.1) < 1.0 < mean(0.3)
