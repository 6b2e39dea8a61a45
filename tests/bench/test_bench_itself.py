"""The bench measures what it says: its tanks, its detectors, its intervals and its seeds."""

import json
from dataclasses import replace

import numpy as np
import pytest

from afterfill.records import Reading
from bench.against import Rivals
from bench.baselines import DETECTORS, cusum, over_own_level
from bench.drawing import SCHEME_SEEDS
from bench.figures import Figure, Played
from bench.inference_bench import FIRST_SEED, LAWS_OF, document
from bench.intervals import bootstrap, poisson, wilson
from bench.laws import LAWS, drawn_law
from bench.quiet_stories import is_fault, quiet_story
from bench.refill_stories import refill_story, top_off_story
from bench.story import Story
from bench.tanks import played

REFILLS = [refill_story(seed, LAWS_OF["tuning"]) for seed in range(200)]
QUIET = [quiet_story(seed, LAWS_OF["tuning"]) for seed in range(200)]


@pytest.mark.parametrize("name", LAWS)
def test_a_law_rises_within_minutes_and_falls_more_slowly(name: str) -> None:
    law = drawn_law(name, np.random.default_rng(3))
    rising = [law.stepped(0.5, 0.0, 0.6, 15.0) for _ in range(240)]
    falling = [law.stepped(0.0, 0.0, 0.6, 15.0) for _ in range(40)]
    assert max(rising) > 20.0
    assert 0.0 < falling[-1] < max(rising)


@pytest.mark.parametrize("name", LAWS)
def test_chloramine_moves_a_probe_less_than_as_much_free_chlorine(name: str) -> None:
    free, combined = (drawn_law(name, np.random.default_rng(3)) for _ in range(2))
    of_free = [free.stepped(0.5, 0.0, 0.6, 15.0) for _ in range(80)]
    of_combined = [combined.stepped(0.0, 0.5, 0.6, 15.0) for _ in range(80)]
    assert 0.0 < of_combined[-1] < of_free[-1]


def test_held_out_stories_have_laws_that_no_tuning_story_has() -> None:
    held_out = {refill_story(FIRST_SEED["held-out"] + n, LAWS_OF["held-out"]).law for n in range(9)}
    assert held_out - {story.law for story in REFILLS + QUIET} == set(LAWS[LAWS_OF["tuning"] :])


def test_refills_are_of_every_kind() -> None:
    pourings = [p for story in REFILLS for p in story.pourings]
    assert {p.mode for p in pourings} == {"add", "replace"}
    assert {p.place for p in pourings} == {"bucket", "line", "tank", "tank, late"}
    assert {p.announced for p in pourings} == {p.tiny for p in pourings} == {True, False}
    assert min(p.ratio for p in pourings) == 0.0
    assert 2.5 < max(p.ratio for p in pourings) <= 3.0
    kinds = {fault.kind for story in REFILLS for fault in story.faults}
    assert {"air", "orp outage", "all outage", "orp step"} <= kinds
    assert any(story.kits for story in REFILLS)


def test_quiet_days_hold_every_trouble_and_no_water() -> None:
    kinds = {kind for story in QUIET for kind, _ in story.troubles}
    assert len(kinds) == 14
    assert sum(is_fault(kind) for kind in kinds) == 11
    assert not any(story.pourings for story in QUIET)


def test_the_source_is_mixed_in_by_its_share() -> None:
    story = next(s for s in REFILLS if s.pourings[0].mode == "add" and s.pourings[0].share > 0.1)
    pouring = story.pourings[0]
    left = 1.0
    for second in range(int(pouring.begin_s) - 10, int(pouring.end_s) + 10):
        left *= 1.0 - pouring.mixed_in(second, second + 1.0)
    assert 1.0 - left == pytest.approx(pouring.share, rel=0.01)


def test_a_story_comes_out_the_same_each_time() -> None:
    first, second = played(REFILLS[2]), played(REFILLS[2])
    assert first.inputs == second.inputs
    assert np.array_equal(first.residual, second.residual)


def test_top_offs_are_tiny_and_come_daily() -> None:
    story = top_off_story(4, LAWS_OF["tuning"])
    assert all(p.tiny and p.share <= 0.01 for p in story.pourings)
    assert len(story.pourings) == pytest.approx(story.days, abs=1.0)


def test_swapped_columns_reach_the_service_as_no_ph_at_all() -> None:
    story = next(s for s in QUIET if s.troubles and s.troubles[0][0] == "swapped")
    swapped = next(f for f in story.faults if f.kind == "swapped")
    readings = [r for r in played(story).inputs if isinstance(r, Reading) and r.quantity == "ph"]
    begin_s = readings[0].time_s
    meant = [r.invalid for r in readings if swapped.at(r.time_s - begin_s)]
    assert set(meant) == {"out-of-range"}


def test_the_cumulative_sum_never_falls_below_nothing() -> None:
    time_s = np.arange(0.0, 36_000.0, 60.0)
    orp_mv = 300.0 + 10.0 * np.sin(time_s / 3000.0)
    above, held, expected = over_own_level(time_s, orp_mv, 6.0) - 3.0, 0.0, []
    for value in above:
        held = max(held + value, 0.0)
        expected.append(held)
    assert cusum(time_s, orp_mv, 3.0) == pytest.approx(np.array(expected), abs=1e-9)


def test_a_detector_is_tuned_to_as_many_false_alarms_as_are_allowed() -> None:
    nothing = [{name: float(n) for name in DETECTORS} for n in range(100)]
    carried = [dict.fromkeys(DETECTORS, 97.0)] * 4
    assert Rivals(nothing, carried).tuned(0.05)[1] == 94.0
    assert Rivals(nothing, carried).tuned(0.0)[1] == 99.0


def test_intervals_hold_their_figure() -> None:
    assert wilson(0, 0) == (0.0, 1.0)
    low, high = wilson(9, 10)
    assert low < 0.9 < high
    low, high = poisson(4, 2.0)
    assert (low, high) == pytest.approx((0.545, 5.12), abs=0.02)  # exact: 1.090/2 and 10.24/2
    low, high = bootstrap([1.0, 2.0, 3.0, 4.0], lambda some: float(np.mean(some)))
    assert low < 2.5 < high


@pytest.mark.parametrize(
    ("value", "mark"),
    [(0.9, "below bar"), (0.96, "met bar"), (0.999, "met goal"), (float("nan"), "no data")],
)
def test_a_mark_says_in_words_how_a_figure_stands(value: float, mark: str) -> None:
    inf = float("inf")
    assert Figure("", value, 0.0, 1.0, "", (0.95, inf), (0.995, inf)).mark == mark


def test_the_table_for_other_programs_is_plain_json() -> None:
    figure = Figure("", float("nan"), 0.0, 1.0, "", (0.95, float("inf")), (0.995, float("inf")))
    written = json.dumps(document("tuning", Played(), [figure]), allow_nan=False)
    assert json.loads(written)["figures"][0]["bar"] == [0.95, None]


def test_the_story_of_a_seed_does_not_depend_on_the_others() -> None:
    again: Story = refill_story(5, LAWS_OF["tuning"])
    assert again == REFILLS[5]


def test_tanks_of_the_scheme_set_live_by_the_scheme_and_no_others_do() -> None:
    drawn = (refill_story(seed, LAWS_OF["scheme"]) for seed in SCHEME_SEEDS)
    story = next(s for s in drawn if s.pourings[0].raw and not s.pourings[0].tiny)
    assert story.water == "scheme"
    assert {s.water for s in REFILLS + QUIET} == {"mole for mole"}
    assert FIRST_SEED["held-out"] not in SCHEME_SEEDS
    by_scheme, by_moles = played(story), played(replace(story, water="mole for mole"))
    assert np.isfinite(by_scheme.residual).all()
    assert by_scheme.residual.min() >= 0.0
    assert by_scheme.residual.max() == pytest.approx(by_moles.residual.max(), rel=0.1)
    assert not np.array_equal(by_scheme.residual, by_moles.residual)
