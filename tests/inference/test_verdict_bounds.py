"""Each bound of the verdict, on both of its sides."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from afterfill.inference.filter.streams import Array
from afterfill.inference.model.hypotheses import HYPOTHESES, index_of
from afterfill.inference.model.particles import PARAMETER_ROWS, PEAK, STATE_ROWS, Particles
from afterfill.inference.monitor.decision import is_over, word_for
from afterfill.inference.monitor.watch import Watch
from afterfill.inference.setup import Pour, Water
from afterfill.records import VerdictWord

Peaks = float | Array
LIMIT_MG_L = 0.02
EACH = 20  # particles of a hypothesis
POURED_BY_S = 600.0
LATE_S = 7200.0
SHARP_MG_L, BLUNT_MG_L = 0.01, 0.2  # detection floors
HOUR_S = 3600.0


def watch_of(
    peaks: Peaks,
    untreated: Peaks | None = None,
    ml: float | None = 5.0,
    said: VerdictWord | None = None,
    **known: Any,
) -> Watch:
    """A watch that has seen everything, whose particles peaked at `peaks` and, where the water was
    not treated, at `untreated` [mg/L]."""
    sizes = (EACH,) * len(HYPOTHESES)
    n = sum(sizes)
    empty = Particles(np.zeros((PARAMETER_ROWS, n)), np.zeros((STATE_ROWS, n)), np.ones(n), sizes)
    peak = np.zeros(n) + peaks
    if untreated is not None:
        peak[empty.groups[index_of("short")]] = untreated
    pour = Pour(0.0, True, Water(), litres=25.0, neutraliser_ml=ml)
    fresh = Watch(
        pour, 0.0, 0.0, empty.with_rows(state={PEAK: peak}), LIMIT_MG_L, 25.0, 7.2,
        POURED_BY_S, 700.0, sighted_s=1e6, said=said,
    )  # fmt: skip
    return replace(fresh, **known)


def word(watch: Watch, time_s: float = LATE_S, floor_mg_l: float = SHARP_MG_L) -> str | None:
    return word_for(watch, time_s, lambda: floor_mg_l)


def some(number: int, mg_l: float, others_mg_l: float = 0.0) -> Array:
    """Peaks of one hypothesis, of which `number` are `mg_l`."""
    return np.where(np.arange(EACH) < number, mg_l, others_mg_l)


@pytest.mark.parametrize(("p", "before", "early", "late"), [
    (0.9, None, "carried-over", "carried-over"),
    (0.899, None, "possible", "possible"),
    (0.5, "carried-over", "carried-over", "carried-over"),
    (0.499, "carried-over", None, "possible"),
    (0.5, "possible", "possible", "possible"),
    (0.499, None, None, "possible"),
    (0.051, None, None, "possible"),
    (0.05, None, None, "clear"),
])  # fmt: skip
def test_the_word_by_the_probability_until_15_min_after_the_pour_and_then(
    p: float, before: VerdictWord | None, early: str | None, late: str
) -> None:
    watch = watch_of(0.3, p_ever=p, said=before)
    assert word(watch, POURED_BY_S + 899.0) == early
    assert word(watch, POURED_BY_S + 900.0) == late


@pytest.mark.parametrize("p_ever", [0.01, 0.4])
@pytest.mark.parametrize(("poured_by_s", "from_s"), [(600.0, 0.0), (1800.0, 900.0)])
def test_the_orp_must_be_seen_from_15_min_before_the_water_is_in_for_six_tenths_of_the_time(
    p_ever: float, poured_by_s: float, from_s: float
) -> None:
    watch = watch_of(0.3, p_ever=p_ever, poured_by_s=poured_by_s)
    needed_s = 0.6 * (LATE_S - from_s)
    assert word(replace(watch, sighted_s=needed_s + 1e-6)) != "cannot-tell"
    assert word(replace(watch, sighted_s=needed_s - 1.0)) == "cannot-tell"


def test_sight_of_exactly_six_tenths_is_enough() -> None:
    assert word(watch_of(0.3, p_ever=0.4, sighted_s=0.6 * LATE_S)) == "possible"


@pytest.mark.parametrize(("untreated", "said"), [
    (some(1, 0.3), "clear"), (some(2, 0.3), "cannot-tell"), (LIMIT_MG_L, "clear"),
])  # fmt: skip
def test_unseen_water_is_clear_where_untreated_at_most_one_in_twenty_could_harm(
    untreated: Peaks, said: str
) -> None:
    assert word(watch_of(0.3, untreated, p_ever=0.01, sighted_s=0.0)) == said


def test_what_else_oxidises_leaves_no_all_clear() -> None:
    assert word(watch_of(0.3, p_ever=0.01, masked=True)) == "cannot-tell"


@pytest.mark.parametrize(("ml", "floor_mg_l", "said"), [
    (None, BLUNT_MG_L, "cannot-tell"), (0.0, BLUNT_MG_L, "cannot-tell"),
    (5.0, BLUNT_MG_L, "clear"), (None, SHARP_MG_L, "clear"), (None, 0.1, "clear"),
])  # fmt: skip
def test_where_no_dose_was_told_of_the_orp_must_be_able_to_show_untreated_water(
    ml: float | None, floor_mg_l: float, said: str
) -> None:
    assert word(watch_of(0.5, 0.1, p_ever=0.01, ml=ml), floor_mg_l=floor_mg_l) == said


def test_nothing_hides_in_water_that_only_the_readings_suggested() -> None:
    watch = watch_of(0.5, 0.1, p_ever=0.01, ml=None)
    watch = replace(watch, pour=replace(watch.pour, announced=False))
    assert word(watch, floor_mg_l=BLUNT_MG_L) == "clear"


@pytest.mark.parametrize(("untreated", "said"), [
    (some(9, 1.0, 0.1), "cannot-tell"),  # their median is 0.1, though their mean is above the floor
    (some(8, 0.3, LIMIT_MG_L), "possible"),  # what stays at the limit is not asked
    (some(1, 0.1), "cannot-tell"),
    (0.0, "possible"),
])  # fmt: skip
def test_half_of_what_exceeds_the_limit_must_be_above_the_detection_floor(
    untreated: Peaks, said: str
) -> None:
    assert word(watch_of(0.0, untreated, p_ever=0.4), floor_mg_l=BLUNT_MG_L) == said


@pytest.mark.parametrize(("p_ever", "p_now", "over_after_s"), [
    (0.05, 0.05, 1.5 * HOUR_S),  # nothing got in
    (0.9, 0.05, 1.5 * HOUR_S),  # it got in and is gone
    (0.051, 0.0, 3.0 * HOUR_S),  # by then only a test can tell
    (0.899, 0.0, 3.0 * HOUR_S),
    (0.9, 0.051, 24.0 * HOUR_S),  # it got in and is still there
])  # fmt: skip
def test_when_a_watch_ends(p_ever: float, p_now: float, over_after_s: float) -> None:
    watch = watch_of(0.3, p_ever=p_ever, p_now=p_now)
    assert not is_over(watch, POURED_BY_S + over_after_s - 1.0)
    assert is_over(watch, POURED_BY_S + over_after_s)
