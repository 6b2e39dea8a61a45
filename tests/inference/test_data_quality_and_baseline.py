import math

import pytest

from afterfill.inference.monitor import baseline, change_detection
from afterfill.inference.monitor import data_quality as sight
from afterfill.inference.monitor.baseline import Baseline
from afterfill.inference.monitor.data_quality import Sight, seen, unsettled, why_blind


def watched(values: list[float], every_s: float = 30.0) -> Sight:
    eyes = Sight()
    for number, value in enumerate(values):
        eyes = seen(eyes, value, number * every_s)
    return eyes


def test_nothing_read_yet_is_blind() -> None:
    assert why_blind(Sight(), 0.0) == "no ORP reading yet"


def test_silence_blinds_after_five_minutes_and_says_for_how_long() -> None:
    eyes = watched([300.0, 300.4])
    assert why_blind(eyes, 320.0) is None
    assert why_blind(eyes, 30.0 + 600.0) == "no ORP reading for 10 min"


@pytest.mark.parametrize(("step_mv", "blind_after_s"), [(0.1, 1200.0), (1.0, 10_800.0)])
def test_a_value_that_stands_still_blinds_by_the_resolution_of_its_probe(
    step_mv: float, blind_after_s: float
) -> None:
    eyes = watched([300.0, 300.0 + step_mv])
    at = 30.0
    while at < 30.0 + blind_after_s + 60.0:
        at += 30.0
        eyes = seen(eyes, 300.0 + step_mv, at)
    assert "stands still" in (why_blind(eyes, at) or "")
    assert why_blind(eyes, 30.0 + blind_after_s - 30.0) is None


def test_a_sudden_fall_is_a_hand_and_not_the_water() -> None:
    eyes = watched([300.0, 300.5, 200.0])
    assert "handled" in (why_blind(eyes, 61.0) or "")


def test_a_probe_that_comes_back_into_the_water_settles_sooner() -> None:
    eyes = watched([300.0, 300.5, 200.0, 190.0, 180.0, 185.0, 291.0])
    assert "handled" in (why_blind(eyes, 190.0) or "")
    assert why_blind(seen(eyes, 300.0, 180.0 + 240.0), 180.0 + 241.0) is None
    away = watched([300.0, 300.5, 200.0, 190.0, 210.0])
    assert "handled" in (why_blind(seen(away, 211.0, 1400.0), 1401.0) or "")


def test_a_leap_from_below_the_level_is_the_same_probe_back_in_the_water() -> None:
    low = watched([300.0, 290.0, 270.0, 250.0], every_s=10.0)
    back = seen(low, 320.0, 40.0, level_mv=300.0)
    assert "handled" in (why_blind(back, 41.0) or "")
    assert not sight.is_another(low, back, 40.0)
    assert why_blind(seen(back, 321.0, 1240.0), 1241.0) is None


@pytest.mark.parametrize("every_s", [10.0, 30.0, 60.0])
def test_a_step_up_that_stands_still_at_once_is_another_probe(every_s: float) -> None:
    before = watched([300.0, 300.5, 300.2], every_s)
    steps = [345.0 + 0.3 * (n % 3) for n in range(12)]
    eyes, at_s = before, 2.0 * every_s
    for value in steps:
        at_s += every_s
        eyes = seen(eyes, value, at_s, level_mv=300.0)
    assert "handled" in (why_blind(eyes, at_s) or "")
    assert sight.is_another(before, eyes, at_s)


@pytest.mark.parametrize("every_s", [10.0, 30.0, 60.0])
def test_a_rise_that_goes_on_for_minutes_is_the_water(every_s: float) -> None:
    eyes = watched([300.0, 300.5, 300.2], every_s)
    for number in range(1, 30):
        risen = 90.0 * (1.0 - math.exp(-number * every_s / 90.0))
        eyes = seen(eyes, 300.0 + risen, (2.0 + number) * every_s, level_mv=300.0)
        assert why_blind(eyes, (2.0 + number) * every_s) is None


def test_a_step_down_that_stands_still_ends_when_the_old_level_is_back() -> None:
    eyes = watched([300.0, 300.5, *([262.0, 262.5] * 8)], every_s=20.0)
    assert "handled" in (why_blind(eyes, 341.0) or "")
    back = seen(eyes, 298.0, 360.0, level_mv=300.0)
    assert not sight.is_another(eyes, back, 360.0)
    assert why_blind(seen(back, 299.0, 900.0, level_mv=300.0), 901.0) is None


def test_to_and_fro_beyond_noise_is_a_probe_in_the_air() -> None:
    walk = [300.0, 300.4, 307.0, 301.0, 309.0, 302.0, 311.0]
    eyes = watched(walk, every_s=20.0)
    assert "to and fro" in (why_blind(eyes, 121.0) or "")
    for number in range(7, 40):
        eyes = seen(eyes, 303.0 + 0.2 * (number % 2), 20.0 * number)
    assert why_blind(eyes, 20.0 * 39 + 1.0) is None


@pytest.mark.parametrize("spike_mv", [120.0, -120.0])
@pytest.mark.parametrize("every_s", [10.0, 30.0, 60.0])
def test_one_spike_does_not_blind(spike_mv: float, every_s: float) -> None:
    eyes = watched([300.0, 300.4, 300.0 + spike_mv, 300.2, 300.5, 300.1], every_s)
    assert why_blind(seen(eyes, 300.3, 6.0 * every_s), 6.0 * every_s + 1.0) is None


def test_while_the_orp_is_away_cold_water_is_still_felt() -> None:
    level = after_quiet(300.0, 25.0)
    for _ in range(3):
        level = change_detection.felt(level, 23.8)
    assert change_detection.raised(level)
    warmer = baseline.warmed(after_quiet(300.0, 25.0), 24.9, 600.0)
    assert not change_detection.raised(change_detection.felt(warmer, 24.8))


def test_an_hour_in_the_air_does_not_pass_for_noise() -> None:
    level = after_quiet(300.0, 25.0)
    before_mv = level.noise_mv
    for number in range(60, 240):
        level = baseline.followed(level, 300.0 + (9.0 if number % 2 else -9.0), 25.0, 20.0 * number)
    assert level.noise_mv < 2.0 * before_mv


def test_a_slow_fall_is_the_water() -> None:
    assert why_blind(watched([300.0 - 3.0 * n for n in range(40)]), 1200.0) is None


def test_a_serviced_probe_settles_for_hours() -> None:
    eyes = unsettled(watched([300.0, 300.4]), 30.0, "serviced")
    assert why_blind(eyes, 31.0) == "serviced; settling"
    assert why_blind(seen(eyes, 301.0, 3 * 3600.0 + 30.0), 3 * 3600.0 + 31.0) is None


def after_quiet(orp_mv: float, temperature_c: float) -> baseline.Baseline:
    """A baseline of twenty quiet minutes."""
    level = baseline.begun(orp_mv, 0.0)
    for number in range(1, 60):
        level = baseline.followed(level, orp_mv, temperature_c, 20.0 * number)
    return level


def test_noise_is_learnt_from_neighbouring_readings() -> None:
    level = baseline.begun(300.0, 0.0)
    for number in range(1, 3000):
        level = baseline.followed(level, 300.0 + (3.0 if number % 2 else -3.0), 25.0, 20.0 * number)
    assert level.noise_mv == pytest.approx(6.0 / 2**0.5, rel=0.1)
    assert level.level_mv == pytest.approx(300.0, abs=0.5)


def test_one_spike_is_no_suspicion_and_three_in_a_row_are() -> None:
    level = after_quiet(300.0, 25.0)
    once = change_detection.looked(level, 340.0, 25.0)
    assert not change_detection.raised(change_detection.looked(once, 300.0, 25.0))
    thrice = change_detection.looked(change_detection.looked(once, 340.0, 25.0), 340.0, 25.0)
    assert change_detection.raised(thrice)


def seen_often(level: Baseline, times: int, orp_mv: float, temperature_c: float) -> Baseline:
    for _ in range(times):
        level = change_detection.looked(level, orp_mv, temperature_c)
    return level


def test_coming_back_from_below_is_not_suspicious() -> None:
    low = after_quiet(240.0, 25.0)._replace(usual_mv=300.0)
    back = seen_often(low, 5, 298.0, 25.0)
    assert not change_detection.raised(back)
    assert change_detection.raised(seen_often(back, 3, 312.0, 25.0))


def test_a_heater_bringing_the_tank_back_is_not_suspicious() -> None:
    cold = after_quiet(300.0, 22.0)._replace(usual_c=25.0)
    assert not change_detection.raised(seen_often(cold, 5, 300.0, 22.9))


def test_colder_water_alone_is_suspicious() -> None:
    level = after_quiet(300.0, 25.0)
    for _ in range(3):
        level = change_detection.looked(level, 300.0, 24.2)
    assert change_detection.raised(level)


def warm_day(baseline_: Baseline, swing_k: float, source_c: float | None) -> bool:
    """Whether two days that warm by `swing_k` raise a suspicion."""
    level = baseline_
    for minute in range(2 * 1440):
        warm_c = 25.0 + 0.5 * swing_k * math.sin(2.0 * math.pi * minute / 1440.0)
        level = change_detection.looked(level, 300.0, warm_c, source_c)
        if change_detection.raised(level):
            return True
        level = baseline.followed(level, 300.0, warm_c, 60.0 * minute + level_begin_s(baseline_))
    return False


def level_begin_s(baseline_: Baseline) -> float:
    return baseline_.time_s + 60.0


@pytest.mark.parametrize("source_c", [None, 12.0, 24.0])
@pytest.mark.parametrize("swing_k", [1.5, 3.0])
def test_a_warm_day_is_no_refill(swing_k: float, source_c: float | None) -> None:
    assert not warm_day(after_quiet(300.0, 25.0), swing_k, source_c)


@pytest.mark.parametrize(("step_k", "source_c", "is_water"), [
    (-0.6, 12.0, True), (0.6, 12.0, False), (0.6, 35.0, True), (-0.6, None, True),
    (0.6, None, False), (-0.6, 24.0, True), (-6.0, 24.0, False),
])  # fmt: skip
def test_a_step_of_temperature_is_asked_whether_the_source_can_make_it(
    step_k: float, source_c: float | None, is_water: bool
) -> None:
    level = after_quiet(300.0, 25.0)
    for _ in range(3):
        level = change_detection.looked(level, 300.0, 25.0 + step_k, source_c)
    assert change_detection.raised(level) == is_water
