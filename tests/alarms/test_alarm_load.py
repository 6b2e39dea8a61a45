from dataclasses import replace
from pathlib import Path

import pytest

from afterfill.alarms.load import Load, load_of
from afterfill.records import AlarmChange, AlarmLoad, AlarmState, Stamp
from afterfill.service.calendar import keep_load
from afterfill.service.recorder import Recorder
from afterfill.sinks.influx.points import line_of
from tank_stories import ZERO_S, config_of

DAY_S = 86400.0


def change(
    time_s: float, alarm: str = "ph", state: AlarmState = "unacknowledged", active: bool = True
) -> AlarmChange:
    return AlarmChange(time_s, "t", alarm, state, "medium", active)


def over(*changes: AlarmChange, days: float = 2.0) -> Load:
    return load_of(changes, 0.0, days * DAY_S)


def test_each_raise_counts_once_however_often_it_is_told() -> None:
    load = over(change(10.0), change(20.0), change(30.0, state="acknowledged"))
    assert (load.raised, load.per_day, load.by_alarm) == (1, 0.5, {"ph": 1})
    assert load.by_priority == {"high": 0, "medium": 1, "low": 0}


def test_returned_and_raised_again_counts_twice() -> None:
    load = over(change(10.0), change(20.0, state="normal", active=False), change(30.0))
    assert load.raised == 2
    assert load.standing == ("ph",)


def test_hidden_alarms_ask_nothing() -> None:
    load = over(change(10.0, state="shelved"), change(20.0, state="out-of-service"))
    assert (load.raised, load.standing) == (0, ())


def test_the_peak_is_the_fullest_ten_minutes_wherever_they_begin() -> None:
    early = [change(100.0 * n, f"a{n}") for n in range(3)]
    late = [change(5000.0 + 149.0 * n, f"b{n}") for n in range(5)]
    assert over(*early, *late).peak_ten_minutes == 5


@pytest.mark.parametrize(("gap_s", "chatters"), [(14.0, ("ph",)), (16.0, ())])
def test_three_raises_within_a_minute_are_chatter(gap_s: float, chatters: tuple[str, ...]) -> None:
    told = []
    for n in range(3):
        told += [change(2 * n * gap_s), change((2 * n + 1) * gap_s, state="normal", active=False)]
    assert over(*told).chattering == chatters


@pytest.mark.parametrize(("age_s", "stale"), [(DAY_S + 1, ("ph",)), (DAY_S - 1, ())])
def test_what_holds_for_more_than_a_day_is_stale(age_s: float, stale: tuple[str, ...]) -> None:
    load = over(change(2.0 * DAY_S - age_s))
    assert load.standing == ("ph",)
    assert load.stale == stale


def test_what_began_before_the_span_stands_but_is_not_counted() -> None:
    load = load_of([change(10.0)], 100.0, 100.0 + DAY_S)
    assert (load.raised, load.standing) == (0, ("ph",))


def test_the_service_keeps_the_load_of_the_last_day_for_the_dashboards(tmp_path: Path) -> None:
    stamp = Stamp(ZERO_S + 3 * DAY_S, True, "boot", 100.0)
    recorder = Recorder(config_of(), tmp_path / "j.db")
    for hours in (1.0, 30.0, 71.0):
        time_s = ZERO_S + 3600.0 * hours
        name = "ph" if hours == 1.0 else "free-ammonia"
        recorder.journal.append(change(time_s, name), replace(stamp, time_s=time_s))
        back = change(time_s + 60.0, name, "normal", active=False)
        recorder.journal.append(back, replace(stamp, time_s=time_s))
    recorder.journal.commit()
    keep_load(recorder, stamp, ["t"])
    (entry,) = recorder.journal.latest("alarm-load", "t")
    assert entry.record == AlarmLoad(
        stamp.time_s, "t", days=1.0, raised=1, high=0, medium=1, low=0, peak_ten_minutes=1,
        standing=0, chattering=0, stale=0,
    )  # fmt: skip
    line = line_of(entry, "pi")
    assert line is not None
    assert line.startswith("alarm_load,host=pi,tank=t ")
    assert "raised=1i" in line
