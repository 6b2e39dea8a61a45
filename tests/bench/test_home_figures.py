"""The homes' figures on moments made by hand, and the lives that their stories tell."""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import pytest

from afterfill.records import Quantiles, Service, Verdict, VerdictWord
from afterfill.simulation.virtual_water import WaterState
from bench import home_questions as asked
from bench.home_figures import crashes_of, moments_of
from bench.home_reliability import (
    coverage_lines,
    miscalibration,
    odds_off,
    reliability_lines,
    surely_not,
    verdicts_of,
)
from bench.home_rows import aged_refills, rows_of
from bench.home_stories import Life, home_story
from bench.home_truths import (
    HIGH,
    LOW,
    MIDDLE,
    QUARTER,
    THREE_QUARTERS,
    Lived,
    by_refill,
    lived,
)
from bench.laws import LAWS, TUNING_LAWS
from bench.probes import OrpProbe
from bench.story import ZERO_S, Story
from bench.tanks import Played

LAWS_HERE = TUNING_LAWS
FIRST_S = 6 * 3600.0  # when a home's first refill begins


def moment(
    at_s: float, truth: float, p: float, *, sees: bool = True, safe: bool = False,
    interval: tuple[float, float] = (0.0, 0.5), quartiles: tuple[float, float] = (0.1, 0.2),
) -> list[float]:  # fmt: skip
    low, high = interval
    return [at_s, truth, low, 0.5 * (low + high), high, p, sees, safe, *quartiles]


def home_of(
    moments: Sequence[Sequence[float]], life: Life = "refill", seed: int = 1,
    story: Story | None = None,
) -> Lived:  # fmt: skip
    m = np.array(moments)
    nothing = np.zeros(len(m))
    truth = Played([], m[:, 0], m[:, 1], m[:, 1], nothing, nothing)
    return Lived(life, seed, story or home_story(life, seed, LAWS_HERE), 0.02, m, truth)


def verdict(at_s: float, p: float, *, final: bool, refill_s: float = FIRST_S) -> Verdict:
    word: VerdictWord = "possible"
    return Verdict(ZERO_S + at_s, "t", ZERO_S + refill_s, word, p, Quantiles(0.0, 0.1, 0.2), final)


def test_a_small_probability_that_comes_true_is_counted_by_sight() -> None:
    seen = [moment(60.0 * n, 0.1 if n < 2 else 0.0, 0.005) for n in range(8)]
    blind = [moment(60.0 * n, 0.1, 0.005, sees=False) for n in range(3)]
    home = home_of([*seen, *blind, moment(900.0, 0.1, 0.5)])
    assert surely_not([home], seen=True).value == pytest.approx(2 / 8)
    assert surely_not([home], seen=False).value == 1.0


def test_odds_of_the_truth_are_held_against_those_said() -> None:
    # Said 0.2: odds of 1 to 4. Came true in half: odds of 1 to 1.
    home = home_of([moment(60.0 * n, 0.1 * (n % 2), 0.2) for n in range(10)])
    assert odds_off([home], 0.07, 0.25).value == pytest.approx(4.0)
    assert np.isnan(odds_off([home], 0.25, 0.5).value)


def test_verdicts_are_judged_by_the_residual_from_the_refill_to_the_last_word() -> None:
    times = np.arange(0.0, 12 * 3600.0, 300.0)
    home = home_of([moment(t, 0.1 if FIRST_S <= t < FIRST_S + 3600 else 0.0, 0.0) for t in times])
    after_s = FIRST_S + 7200.0
    home.verdicts = [
        verdict(FIRST_S + 1200.0, 0.4, final=False),
        verdict(after_s, 0.9, final=True),
        verdict(after_s + 3600.0, 0.2, final=False, refill_s=after_s + 3000.0),
        verdict(after_s + 7200.0, 0.3, final=True, refill_s=after_s + 3000.0),
    ]
    assert verdicts_of(home) == [(0.4, 0.9, True), (0.2, 0.3, False)]


def test_miscalibration_of_first_and_final_verdicts_are_told_apart() -> None:
    homes = []
    for seed in range(10):
        home = home_of([moment(FIRST_S, 0.1 * (seed % 2), 0.0)], seed=seed)
        told = verdict(FIRST_S + 600.0, 0.5, final=False)
        home.verdicts = [told, verdict(FIRST_S + 6000.0, 0.9, final=True)]
        homes.append(home)
    assert miscalibration(homes, final=False).value == pytest.approx(0.0)
    assert miscalibration(homes, final=True).value == pytest.approx(0.4**2)


def test_intervals_of_half_and_nine_tenths_are_different_ones() -> None:
    moments = np.array([moment(0.0, truth, 0.0) for truth in (0.05, 0.15, 0.4, 0.6)])
    assert asked.within_interval(moments).tolist() == [True, True, True, False]
    assert asked.within_interval(moments, half=True).tolist() == [False, True, False, False]


def test_coverage_is_by_the_time_since_the_pour() -> None:
    inside = moment(FIRST_S + 600.0, 0.15, 0.0)
    outside = moment(FIRST_S + 1800.0, 0.9, 0.0)
    below = moment(FIRST_S + 2400.0, 0.0, 0.0)
    lines = coverage_lines([home_of([inside, outside, below])])
    of = {(n // 6, line.split()[0]): line.split()[-3:] for n, line in enumerate(lines[3:])}
    assert of[0, "0-20"] == ["1", "of", "1"]
    assert of[0, "20-60"] == ["1", "of", "2"]
    assert of[1, "20-60"] == ["0", "of", "1"]


def test_reliability_says_how_often_each_probability_came_true() -> None:
    home = home_of([moment(60.0 * n, 0.1 * (n < 3), 0.8) for n in range(4)])
    line = next(r for r in reliability_lines([home], [home]) if "0.75-0.9" in r)
    assert line.split()[1:3] == ["0.8000", "0.7500"]


def test_an_alarm_at_a_lamp_counts_once_it_was_told_of_or_came_thrice() -> None:
    told, lamp = (home_of([moment(0.0, 0.0, 0.0)], life) for life in ("told", "lamp"))
    said_s = told.story.said[0].time_s - ZERO_S
    for home, known_s in ((told, said_s + 86_400.0), (lamp, 3 * 86_400.0 + 1.0)):
        home.alarms_s = [(known_s - 80_000.0, known_s - 70_000.0)]
        assert not asked.alarmed_later(home)
        home.alarms_s = [(known_s, known_s + 60.0)]
        assert asked.alarmed_later(home)


def test_a_home_in_which_the_inference_failed_is_a_crash() -> None:
    home = home_of([moment(0.0, 0.0, 0.0)])
    assert crashes_of([home]).mark == "met goal"
    home.failures = 3
    assert crashes_of([home, home_of([moment(0.0, 0.0, 0.0)])]).value == 0.5


def test_being_blind_counts_after_the_first_hour() -> None:
    home = home_of([moment(60.0, 0.0, 0.0, sees=False), moment(7200.0, 0.0, 0.0, sees=False)])
    home.blind_s = [600.0, 7200.0]
    assert asked.blind_alarms(home) == 1
    assert moments_of("", [home], asked.is_blind).note == "1 of 1 moments, 1 homes"


def test_a_home_of_many_refills_is_judged_refill_by_refill() -> None:
    story = home_story("ageing", 3, LAWS_HERE)
    times = np.arange(0.0, story.hours * 3600.0, 1800.0)
    second = story.pourings[1]
    home = home_of([moment(t, 0.3 * (t > second.begin_s), 0.0) for t in times], "ageing", 3, story)
    home.alarms_s = [(second.begin_s + 600.0, second.begin_s + 1200.0)]
    parts = by_refill(home)
    assert [asked.begin_s(part) for part in parts] == [p.begin_s for p in story.pourings]
    assert asked.peak_mg_l(parts[0]) == 0.0
    assert [len(part.alarms_s) for part in parts[:3]] == [0, 1, 0]
    aged = aged_refills([home])
    assert 0 < len(aged) < len(parts)
    assert min(asked.begin_s(part) for part in aged) > 0.49 * story.hours * 3600.0


def test_every_row_is_there_whatever_homes_there_are() -> None:
    home = home_of([moment(FIRST_S + 60.0, 0.3, 0.5)])
    names = [figure.name for figure in rows_of([home])]
    assert len(names) == len(rows_of([]))
    assert len(names) >= 40


@pytest.mark.parametrize(("life", "times"), [("half", 0.5), ("twice", 2.0)])
def test_a_source_is_configured_at_half_or_twice(life: Life, times: float) -> None:
    for seed in range(20):
        story = home_story(life, seed, LAWS_HERE)
        assert story.home is not None
        assert story.home.configured_mg_l == pytest.approx(times * story.tap_mg_l)
        assert story.home.configured_mg_l <= 4.0
        assert story.pourings[0].need_mg_l == story.tap_mg_l


def test_a_filter_that_broke_through_is_not_known_of() -> None:
    story = home_story("filtered", 2, LAWS_HERE)
    source = story.pourings[0].source
    assert story.home is not None
    assert story.home.configured_mg_l == 0.0
    assert source.residual == 1.5
    assert (story.pourings[0].share, len(story.said)) == (0.25, 1)


def test_a_lamp_is_told_of_on_its_first_day() -> None:
    kinds = set()
    for seed in range(12):
        story = home_story("told", seed, LAWS_HERE)
        first_s = story.disturbances[0].begin_s
        assert abs(story.said[0].time_s - ZERO_S - first_s) <= 300.0
        assert isinstance(story.said[0], Service)
        kinds.add(story.said[0].what)
    assert kinds == {"lamp", "ozone", "medicine"}


def test_an_ageing_probe_loses_three_fifths_of_its_response() -> None:
    story = home_story("ageing", 0, len(LAWS))
    probe, water = OrpProbe(story, np.random.default_rng(1)), WaterState(free=1.0)
    seen = []
    for step_s in (3600.0, story.hours * 3600.0 - 7200.0, 3600.0):
        probe.stepped(water, [], step_s)
        seen.append(probe._signal_mv)
    assert seen[2] == pytest.approx(0.4 * seen[0], rel=0.05)


def test_the_orp_is_away_when_the_refill_comes() -> None:
    story = home_story("away", 5, LAWS_HERE)
    assert any(f.kind in ("orp outage", "all outage") and f.at(FIRST_S) for f in story.faults)


def test_quartiles_lie_between_the_points_of_the_estimate() -> None:
    home = lived("filtered", 2, LAWS_HERE)
    m = home.minutes[home.minutes[:, MIDDLE] > 0.0]
    slack = 1e-4 * m[:, HIGH]
    for low, high in pairwise((LOW, QUARTER, MIDDLE, THREE_QUARTERS, HIGH)):
        assert np.all(m[:, low] <= m[:, high] + slack)
    assert np.mean((m[:, QUARTER] > m[:, LOW]) & (m[:, THREE_QUARTERS] < m[:, HIGH])) > 0.5
