"""How a tank stands, as the core tells it: one word for page, hub and command line."""

from collections.abc import Iterable

import pytest

from afterfill.alarms.standing import word_of
from afterfill.records import (
    AlarmChange,
    AlarmCommand,
    Estimate,
    Forecast,
    Input,
    Output,
    Reading,
    RefillSeen,
    Service,
    Standing,
    Verdict,
)
from afterfill.tank import TankState, folded
from tank_stories import HOUR_S, ZERO_S, config_of, merged, pour, raw, refill, setup_of, story

SETUP = setup_of(config_of("chlorine", 2.0))


def run(inputs: Iterable[Input], state: TankState | None = None) -> tuple[TankState, list[Output]]:
    now, found = state or TankState(), list[Output]()
    for record in inputs:
        now, outputs = folded(SETUP, now, record)
        found += outputs
    return now, found


def standings(found: Iterable[Output]) -> list[Standing]:
    return [o for o in found if isinstance(o, Standing)]


def words(found: Iterable[Output]) -> list[str]:
    """Each word once for each time in a row."""
    told = [s.standing for s in standings(found)]
    return [word for n, word in enumerate(told) if n == 0 or word != told[n - 1]]


def test_a_fresh_tank_learns_and_then_is_safe() -> None:
    _, found = run(story(1, []))
    assert words(found) == ["learning", "safe"]
    first, last = standings(found)[0], standings(found)[-1]
    assert "10 min of quiet readings to go" in first.why
    assert not first.sees
    assert last.why == ""
    assert last.detection_floor_mg_l is not None
    assert 600.0 <= last.since_s - ZERO_S <= 660.0


def test_learning_raises_no_alarm_and_a_blind_probe_does() -> None:
    _, found = run(story(0.5, []))
    raised = [o.alarm for o in found if isinstance(o, AlarmChange) and o.active]
    assert raised == []
    blind = merged(story(2, []), [Service(ZERO_S + HOUR_S, "t", "probe")])
    blind = [r for r in blind if r.time_s < ZERO_S + HOUR_S or not isinstance(r, Reading)]
    rest = [r for r in story(2, []) if r.time_s > ZERO_S + HOUR_S]
    state, _ = run(blind)
    _, found = run(rest, state)
    assert words(found) == ["cannot-tell"]


@pytest.mark.parametrize("gap_s", [900.0, 86_400.0, 365 * 86_400.0])
def test_a_gap_in_the_readings_or_a_leap_of_the_clock_is_no_quiet(gap_s: float) -> None:
    """Half a minute of readings, a pause, and ten seconds more are no ten quiet minutes."""
    before = story(27 / 3600, [], every_s=1.0)
    after = [
        Reading(r.time_s + gap_s, r.tank, r.quantity, r.value)
        for r in story(38 / 3600, [], every_s=1.0)
        if isinstance(r, Reading) and r.time_s > before[-1].time_s
    ]
    state, found = run([*before, *after])
    assert "safe" not in words(found)
    assert state.belief.baseline is None or not state.belief.baseline.ready()


def test_a_carry_over_is_not_safe_from_its_alarm_to_its_end() -> None:
    said = refill(1, litres=25, minutes=10, neutraliser_ml=0)
    _, found = run(merged(story(3, [pour(1, 0.25, raw("chlorine", 2.0))]), [said]))
    told = words(found)
    assert "not-safe" in told
    assert "safe" not in told[told.index("not-safe") :][:1]
    danger = next(s for s in standings(found) if s.standing == "not-safe")
    alarm = next(
        o
        for o in found
        if isinstance(o, AlarmChange) and o.alarm == "residual-oxidant" and o.active
    )
    assert danger.time_s <= alarm.time_s


def test_the_day_to_come_is_told_with_refill_verdict_and_alarm() -> None:
    said = refill(1, litres=25, minutes=10, neutraliser_ml=0)
    _, found = run(merged(story(3, [pour(1, 0.25, raw("chlorine", 2.0))]), [said]))
    ahead = {o.time_s for o in found if isinstance(o, Forecast)}
    news = [o.time_s for o in found if isinstance(o, RefillSeen | Verdict | AlarmChange)]
    assert news
    assert set(news) <= ahead


def test_no_forecast_says_surely_below_during_a_carry_over() -> None:
    """A time in the past, published on the half hour, stood for minutes during a carry-over."""
    said = refill(1, litres=25, minutes=10, neutraliser_ml=0)
    _, found = run(merged(story(2, [pour(1, 0.25, raw("chlorine", 2.0))]), [said]))
    newest: Forecast | None = None
    for output in found:
        if isinstance(output, Forecast):
            newest = output
        if isinstance(output, Standing) and output.standing == "not-safe":
            newest = None  # the forecast that comes with it is told after it
        if newest is not None and isinstance(output, Estimate) and output.p_over_limit > 0.5:
            below_s = newest.residual_surely_below_limit_s
            assert below_s is None or below_s > output.time_s


def test_a_blind_tank_has_no_time_at_which_the_residual_is_surely_below() -> None:
    state, _ = run(story(1, []))
    silent = [
        Reading(ZERO_S + HOUR_S + 20.0 * n, "t", q, 25.0 if q == "temperature" else 7.2)
        for n in range(60)
        for q in ("temperature", "ph")
    ]
    _, found = run(silent, state)
    last = [o for o in found if isinstance(o, Forecast)][-1]
    assert not last.sees
    assert last.residual_surely_below_limit_s is None
    assert standings(found)[-1].standing == "cannot-tell"


def test_an_alarm_that_was_acknowledged_still_says_what_it_is_about() -> None:
    said = refill(1, litres=25, minutes=10, neutraliser_ml=0)
    state, found = run(merged(story(1.4, [pour(1, 0.25, raw("chlorine", 2.0))]), [said]))
    about = [o for o in found if isinstance(o, AlarmChange) and o.alarm == "residual-oxidant"][-1]
    command = AlarmCommand(ZERO_S + 1.4 * HOUR_S, "t", "residual-oxidant", "acknowledge")
    _, (change,) = run([command], state)
    assert isinstance(change, AlarmChange)
    assert change.state == "acknowledged"
    assert change.message == f"{about.message} (acknowledged)"


def estimate(p: float, *, sees: bool = True) -> Estimate:
    from afterfill.records import Quantiles

    small = Quantiles(0.0, 0.0, 0.001)
    why = None if sees else "probe in the air"
    return Estimate(ZERO_S, "t", small, small, small, small, small, p, 0.05, sees, why)


@pytest.mark.parametrize(
    ("p", "sees", "dangers", "learning", "word"),
    [
        (0.01, True, (), False, "safe"),
        (0.01, False, (), False, "cannot-tell"),
        (0.01, False, (), True, "learning"),
        (0.2, True, (), False, "cannot-tell"),
        (0.6, False, (), True, "not-safe"),
        (0.01, True, ("ammonia",), False, "not-safe"),
        (0.01, False, ("chlorine",), True, "not-safe"),
    ],
)
def test_the_graver_word_comes_first(
    p: float, sees: bool, dangers: tuple[str, ...], learning: bool, word: str
) -> None:
    now = estimate(p, sees=sees)
    told, why = word_of(now, 0.02, dangers, ammonia_is_watched=True, learning=learning)
    assert told == word
    assert bool(why) == (word != "safe")
