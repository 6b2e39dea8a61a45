"""The watch over one refill, step by step, on a few particles whose truth is known."""

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from afterfill.inference.filter.streams import Array
from afterfill.inference.model import observations
from afterfill.inference.model.electrode import LOGARITHMIC, Logarithmic, Probe
from afterfill.inference.model.observations import Moment, Orp
from afterfill.inference.model.particles import (
    BACKGROUND_VAR,
    CAPACITY,
    FALL_S,
    FRACTION,
    FREE,
    IN_C,
    IN_PH,
    K_COMBINED_PER_S,
    PH_SLOPE_MV,
    POUR_S,
    POURED,
    RESPONSE_MV,
    RISE_S,
    START_S,
    Particles,
)
from afterfill.inference.model.regularisation import Ridge
from afterfill.inference.monitor import watch as watches
from afterfill.inference.monitor.watch import Seen, Watch, advanced
from afterfill.inference.setup import Water
from known_watches import EACH, LIMIT_MG_L, UNSEEN, ZERO_S, N, in_pairs, several, watch_over

FALLS = (FALL_S, RISE_S)


class Recording(Logarithmic):
    """The usual law, which keeps what it was asked for."""

    def __init__(self) -> None:
        self.asked: list[tuple[float, float]] = []

    def response_mv(self, probe: Probe, free: Array, combined: Array, hocl: float) -> Array:
        """See ElectrodeLaw."""
        self.asked.append((hocl, float(combined[0])))
        return super().response_mv(probe, free, combined, hocl)


def test_a_fresh_watch_has_seen_nothing() -> None:
    watch = watch_over()
    numbers = (
        watch.p_ever, watch.p_now, watch.sighted_s, watch.moved_orp, watch.moved_temperature,
        watch.moved_ph, watch.moved_kit, watch.kit_mg_l, watch.warmed_s, watch.unexplained,
        watch.refill_time_s, watch.trend_k_per_h,
    )  # fmt: skip
    assert not any(numbers)
    assert [watch.reported, watch.masked] == [False, False]
    assert [watch.ridge, watch.said, watch.orp_mv, watch.before] == [None] * 4
    assert watch.water == Water()


# --- when a step is due ------------------------------------------------------------------------


@pytest.mark.parametrize(("zero_s", "due_after_s"), [
    (0.0, 44.5),  # a quarter of 180 s, in which readings are correlated, within half a second
    (-1400.0, 74.5 / 0.85),  # 180 s and 0.6 of what is beyond 20 min, which waiting adds to
    (-2600.0, 119.5),  # two minutes at most
])  # fmt: skip
def test_the_particles_move_when_a_reading_tells_a_quarter_of_an_independent_one(
    zero_s: float, due_after_s: float
) -> None:
    watch = watch_over(zero_s=zero_s, last_s=0.0, orp_mv=300.0)
    assert watches.is_due(watch, due_after_s + 1e-6, 300.0, 1.0)
    assert not watches.is_due(watch, due_after_s - 1e-6, 300.0, 1.0)
    if zero_s == 0.0:
        assert watches.is_due(watch, 44.5, 300.0, 1.0)
    for changed in (replace(watch, unexplained=1), replace(watch, orp_mv=None)):
        assert watches.is_due(changed, 1.0, 300.0, 1.0)
    assert watches.is_due(watch, 1.0, None, 1.0)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_the_particles_move_at_once_when_the_orp_has_moved_by_more_than_its_noise(
    sign: float,
) -> None:
    watch = watch_over(orp_mv=300.0)
    soon_s = watch.last_s + 1.0
    assert not watches.is_due(watch, soon_s, 300.0 + sign * 7.5, 3.0)  # 2 * 3 + 1.5
    assert watches.is_due(watch, soon_s, 300.0 + sign * 7.6, 3.0)
    assert watches.is_due(replace(watch, orp_mv=0.0), soon_s, 300.0, 3.0)


def test_a_past_watch_moves_every_ten_minutes() -> None:
    watch = watch_over()
    assert watches.past_is_due(watch, watch.last_s + 600.0)
    assert not watches.past_is_due(watch, watch.last_s + 599.0)


# --- prediction --------------------------------------------------------------------------------


def test_no_time_no_change() -> None:
    watch = watch_over()
    for time_s in (watch.last_s, watch.last_s - 1.0):
        assert advanced(watch, time_s, UNSEEN, LOGARITHMIC) is watch
    assert advanced(watch, watch.last_s + 0.5, UNSEEN, LOGARITHMIC).last_s == watch.last_s + 0.5


@pytest.mark.parametrize(("all_in_s", "step_s", "steps"), [
    (600.0, 120.0, 1), (600.0, 121.0, 2), (600.0, 241.0, 3),  # two minutes while pours last
    (-3000.0, 600.0, 5), (-3001.0, 600.0, 1), (-3001.0, 1201.0, 3),  # ten, an hour after
    (600.0, 14_400.0, 120), (600.0, 40_000.0, 120),  # never more than 120
])  # fmt: skip
def test_water_and_electrode_move_in_steps_short_enough_for_pours_and_lags(
    all_in_s: float, step_s: float, steps: int
) -> None:
    """What the law is asked for is what is left of the chlorine at the end of each."""
    pace_per_s, law = 1e-5, Recording()
    particles = several({K_COMBINED_PER_S: pace_per_s}, combined=0.5)
    watch = watch_over(particles, all_in_s=ZERO_S + all_in_s)
    advanced(watch, watch.last_s + step_s, UNSEEN, law)
    ends_s = step_s / steps * np.arange(1, steps + 1)
    hocl, combined = np.array(law.asked).T
    assert combined == pytest.approx(0.5 * np.exp(-pace_per_s * ends_s))
    assert set(hocl) == {0.6}


def test_the_electrode_lags_by_the_width_of_each_step() -> None:
    """In clean water what is left of a response falls with its own time."""
    start = several().with_rows(state={RESPONSE_MV: np.full(N, 50.0)})
    start = start.with_rows({row: np.full(N, 900.0) for row in FALLS})
    watch = watch_over(start)
    after = advanced(watch, watch.last_s + 300.0, UNSEEN, LOGARITHMIC)
    assert after.particles.state[RESPONSE_MV] == pytest.approx(50.0 * math.exp(-1.0 / 3.0))


def test_water_is_poured_over_all_steps_as_long_as_any_particle_pours() -> None:
    """A pour of ten minutes that begins after 100 s: half of it is in after 400 s."""
    pours = {FRACTION: 0.2, START_S: 700.0, POUR_S: 600.0}
    watch = watch_over(several(pours), all_in_s=ZERO_S + 600.0)
    half = advanced(watch, watch.last_s + 400.0, UNSEEN, LOGARITHMIC)
    assert half.particles.state[POURED] == pytest.approx(0.1)
    over = replace(watch, all_in_s=ZERO_S + 599.0)
    none = advanced(over, over.last_s + 400.0, UNSEEN, LOGARITHMIC)
    assert not none.particles.state[POURED].any()


def test_ammonia_binds_at_the_pace_of_the_waters_ph() -> None:
    """Second order, as much of one as of the other: C / (1 + k C t)."""
    particles = several(free=0.3).with_rows(state={CAPACITY: np.full(N, 0.3)})
    watch = watch_over(particles)
    after = advanced(watch, watch.last_s + 300.0, UNSEEN._replace(binding=0.02), LOGARITHMIC)
    assert after.particles.state[FREE] == pytest.approx(0.3 / (1.0 + 0.02 * 0.3 * 300.0), rel=1e-6)


@pytest.mark.parametrize("ridge", [None, Ridge(0.35, -3.7, 1.15)])
def test_copies_of_particles_are_told_apart_at_the_time_and_ph_of_the_step(
    ridge: Ridge | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A test of the water ends the ridge."""
    asked: list[tuple[Any, ...]] = []

    def refreshed(particles: Particles, *known: Any) -> Particles:
        asked.append(known)
        return particles

    monkeypatch.setattr(watches, "refreshed", refreshed)
    watch = watch_over(ridge=ridge)
    after = advanced(watch, watch.last_s + 60.0, UNSEEN._replace(ph=7.3), LOGARITHMIC)
    watches.tested(after, 0.1, 7.4, free_only=False)
    assert asked == [(660.0, 7.3, ridge), (660.0, 7.4)]


# --- the ORP -----------------------------------------------------------------------------------


def told_by_orp(ph: float | None = 7.0, announced: bool = False) -> tuple[Watch, Watch, Particles]:
    """A watch, the same after a reading of 320 mV with a noise of 2 mV, and the particles that the
    channel itself gives."""
    particles = several({PH_SLOPE_MV: -25.0}, peak=in_pairs(0.5))
    particles = particles.with_rows(state={RESPONSE_MV: in_pairs(20.0)})
    particles = particles.with_rows({row: np.full(N, 1e12) for row in FALLS})
    watch = watch_over(particles)
    watch = replace(watch, pour=replace(watch.pour, announced=announced))
    seen = UNSEEN._replace(orp_mv=320.0, ph=ph, noise_mv=2.0)
    after = advanced(watch, watch.last_s + 60.0, seen, LOGARITHMIC)
    alone, _ = Orp(2.0, ph).update(particles, 320.0, Moment(660.0, 60.0, announced))
    return watch, after, alone


@pytest.mark.parametrize("ph", [7.0, None])
def test_a_reading_weighs_the_particles_and_moves_the_odds(ph: float | None) -> None:
    watch, after, alone = told_by_orp(ph)
    assert after.particles.weights == pytest.approx(alone.weights)
    assert after.particles.state[BACKGROUND_VAR] == pytest.approx(alone.state[BACKGROUND_VAR])
    assert after.orp_mv == 320.0
    over = float(alone.weights[::2].sum())
    assert abs(over - 0.5) > 0.01  # it told something
    assert after.moved_orp == pytest.approx(math.log(over / (1.0 - over)))  # from even odds
    assert after.p_ever == pytest.approx(over)
    again = replace(watch, moved_orp=2.0)
    seen = UNSEEN._replace(orp_mv=320.0, ph=ph, noise_mv=2.0)
    twice = advanced(again, watch.last_s + 60.0, seen, LOGARITHMIC)
    assert twice.moved_orp == pytest.approx(2.0 + after.moved_orp)


def test_without_a_reading_the_background_gets_less_certain() -> None:
    """By 2.5 mV per root hour (priors.WANDER_MV_PER_SQRT_H)."""
    watch = watch_over(moved_orp=0.7, orp_mv=300.0)
    after = advanced(watch, watch.last_s + 60.0, UNSEEN, LOGARITHMIC)
    assert after.particles.state[BACKGROUND_VAR] == pytest.approx(100.0 + 2.5**2 / 60.0)
    assert after.orp_mv is None
    assert after.moved_orp == pytest.approx(0.7)


@pytest.mark.parametrize(("orp_mv", "counted"), [(316.0, 0), (316.1, 3), (100.0, 0), (None, 2)])
def test_readings_in_a_row_that_no_particle_explains_are_counted(
    orp_mv: float | None, counted: int
) -> None:
    """Of 300 mV expected, with a noise of 2 mV: over 8 mV and four noises."""
    all_in_one_pair = several().with_weights(np.where(np.arange(N) < 2, 0.5, 0.0))
    watch = watch_over(all_in_one_pair, unexplained=2)
    seen = UNSEEN._replace(orp_mv=orp_mv, noise_mv=2.0)
    assert advanced(watch, watch.last_s + 10.0, seen, LOGARITHMIC).unexplained == counted


@pytest.mark.parametrize(("orp_mv", "last_s", "step_s", "sighted_s"), [
    (300.0, 600.0, 40.0, 1040.0), (300.0, 600.0, 900.0, 1300.0), (None, 600.0, 40.0, 1000.0),
    (300.0, -40.0, 40.0, 1000.0), (300.0, -40.0, 40.5, 1040.5),
])  # fmt: skip
def test_what_was_seen_since_the_pour_is_counted_and_of_a_gap_five_minutes(
    orp_mv: float | None, last_s: float, step_s: float, sighted_s: float
) -> None:
    watch = watch_over(last_s=ZERO_S + last_s, sighted_s=1000.0)
    after = advanced(watch, watch.last_s + step_s, UNSEEN._replace(orp_mv=orp_mv), LOGARITHMIC)
    assert after.sighted_s == pytest.approx(sighted_s)


# --- temperature and pH ------------------------------------------------------------------------

COLD = {IN_C: 15.0, IN_PH: 8.0}


def poured_in_pairs(**known: Any) -> Watch:
    """Of each hypothesis but the first, one particle in two has had a tenth of cold water of a high
    pH; its peak is over the limit, and it weighs less."""
    particles = several(COLD | {START_S: 0.0}, peak=in_pairs(0.5))
    poured = np.where(np.arange(N) < EACH, 0.0, in_pairs(0.1))
    particles = particles.with_rows(state={POURED: poured}).with_weights(in_pairs(0.8 / N, 1.2 / N))
    return watch_over(particles, **{"tank_c": 25.0, "tank_ph": 7.0, "trend_k_per_h": 0.3} | known)


SEEN = UNSEEN._replace(ph=7.1, temperature_c=24.4)


@pytest.mark.parametrize("announced", [True, False])
def test_temperature_and_ph_move_the_odds_each_on_its_own(announced: bool) -> None:
    watch = poured_in_pairs(warmed_s=ZERO_S + 400.0, moved_temperature=0.3, moved_ph=0.4)
    watch = replace(watch, pour=replace(watch.pour, announced=announced))
    time_s = watch.last_s + 10.0
    moment = Moment(610.0, 210.0, announced)
    by_warmth = observations.temperature(25.0, 0.3).update(watch.particles, 24.4, moment)
    by_both = observations.acidity(7.0).update(by_warmth, 7.1, moment)
    after = advanced(watch, time_s, SEEN, LOGARITHMIC)
    assert after.particles.weights == pytest.approx(by_both.weights)
    odds = [watches.log_odds(p, LIMIT_MG_L) for p in (watch.particles, by_warmth, by_both)]
    assert abs(odds[1] - odds[0]) > 0.1
    assert abs(odds[2] - odds[1]) > 0.1
    assert after.moved_temperature == pytest.approx(0.3 + odds[1] - odds[0])
    assert after.moved_ph == pytest.approx(0.4 + odds[2] - odds[1])
    assert after.warmed_s == time_s


@pytest.mark.parametrize(("known", "seen", "moves"), [
    ({"tank_c": None}, SEEN, "ph"), ({"tank_ph": None}, SEEN, "temperature"),
    ({}, SEEN._replace(temperature_c=None), "ph"), ({}, SEEN._replace(ph=None), "temperature"),
])  # fmt: skip
def test_what_was_not_known_before_or_is_not_now_moves_nothing(
    known: dict[str, Any], seen: Seen, moves: str
) -> None:
    watch = poured_in_pairs(**known)
    after = advanced(watch, watch.last_s + 10.0, seen, LOGARITHMIC)
    assert (after.moved_temperature != 0.0) == (moves == "temperature")
    assert (after.moved_ph != 0.0) == (moves == "ph")


@pytest.mark.parametrize(("last_s", "warmed_s", "step_s", "looked"), [
    (600.0, 490.0, 10.0, True), (600.0, 490.5, 10.0, False),  # every other minute
    (3590.0, 0.0, 10.0, True), (3590.0, 0.0, 11.0, False),  # for an hour
])  # fmt: skip
def test_when_temperature_and_ph_are_looked_at(
    last_s: float, warmed_s: float, step_s: float, looked: bool
) -> None:
    watch = poured_in_pairs(last_s=ZERO_S + last_s, warmed_s=ZERO_S + warmed_s)
    after = advanced(watch, watch.last_s + step_s, SEEN, LOGARITHMIC)
    assert after.warmed_s == ZERO_S + (last_s + step_s if looked else warmed_s)
    assert [after.moved_temperature != 0.0, after.moved_ph != 0.0] == [looked, looked]


def test_the_first_look_counts_from_the_zero_and_before_it_tells_nothing() -> None:
    early = poured_in_pairs(last_s=ZERO_S - 100.0)
    before = advanced(early, ZERO_S - 50.0, SEEN, LOGARITHMIC)
    assert before.particles.weights == pytest.approx(early.particles.weights)
    first = advanced(early, ZERO_S + 30.0, SEEN, LOGARITHMIC)
    moment = Moment(30.0, 30.0, announced=True)
    alone = observations.temperature(25.0, 0.3).update(early.particles, 24.4, moment)
    moved = watches.log_odds(alone, LIMIT_MG_L) - watches.log_odds_of(early)
    assert first.moved_temperature == pytest.approx(moved)
