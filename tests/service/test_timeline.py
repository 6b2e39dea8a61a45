import itertools

from hypothesis import given
from hypothesis import strategies as st

from afterfill.records import Stamp
from afterfill.service.timeline import Timeline

ZERO_S = 1_800_000_000.0


def stamp(time_s: float, monotonic_s: float, boot: str = "b") -> Stamp:
    return Stamp(time_s, True, boot, monotonic_s)


def test_time_is_the_wall_clocks_while_that_goes_on() -> None:
    line = Timeline()
    assert [line.at(stamp(1000.0 + n, n)) for n in range(3)] == [1000.0, 1001.0, 1002.0]


def test_two_at_once_are_a_millisecond_apart() -> None:
    line = Timeline()
    assert [line.at(stamp(1000.0, 1.0)) for _ in range(3)] == [1000.0, 1000.001, 1000.002]


def test_a_stamp_that_comes_late_moves_nothing() -> None:
    """Two ports of unlike pace: one answers after a second and a half, and hands over then."""
    line = Timeline()
    times = [line.at(stamp(1000.0 + m, m)) for m in (10.0, 14.0, 11.0, 12.0)]
    assert times == [1010.0, 1014.0, 1014.001, 1014.002]
    assert line.at(stamp(1015.0, 15.0)) == 1015.0


def test_a_clock_set_back_an_hour_does_not_stop_time() -> None:
    """Time goes on a twentieth slower, until the wall clock has caught up."""
    line = Timeline()
    line.at(stamp(10_000.0, 0.0))
    assert line.at(stamp(6_400.0, 60.0)) == 10_057.0
    assert line.at(stamp(6_460.0, 120.0)) == 10_114.0
    day = [line.at(stamp(6_400.0 + m, m)) for m in range(180, 2 * 86_400, 60)]
    assert day[-1] == 6_400.0 + 2 * 86_400 - 60
    assert all(56.9 < b - a < 60.1 for a, b in itertools.pairwise(day))


def test_a_restart_goes_on_after_the_last_record() -> None:
    line = Timeline(last_s=5_000.0)
    assert line.at(stamp(4_000.0, 3.0, "another boot")) == 5_000.001
    assert line.at(stamp(4_010.0, 13.0, "another boot")) == 5_009.5


def test_a_lead_that_a_restart_found_is_worked_off() -> None:
    """A journal written some minutes ahead meets the clock again within the day."""
    line = Timeline(last_s=ZERO_S + 136.0)
    last_s = 0.0
    for second in range(0, 3600, 10):
        last_s = line.at(stamp(ZERO_S + second, 100.0 + second))
    assert last_s == ZERO_S + 3590.0


@given(st.lists(st.tuples(st.floats(0, 2e9), st.floats(0, 1e6)), min_size=2, max_size=40))
def test_it_only_ever_goes_forward(moments: list[tuple[float, float]]) -> None:
    """Whatever wall clock and order of the stamps."""
    line = Timeline()
    times = [line.at(stamp(wall, monotonic)) for wall, monotonic in moments]
    assert all(later > earlier for earlier, later in itertools.pairwise(times))


steps_s = st.lists(st.sampled_from([0.0, 0.001, 0.25, 1.0, 10.0]), min_size=1, max_size=60)
lates_s = st.lists(st.sampled_from([0.0, 0.0, 0.1, 1.5, 5.0]), min_size=60, max_size=60)


@given(steps_s, lates_s, st.data())
def test_under_a_right_clock_records_never_run_ahead(
    steps: list[float], late: list[float], data: st.DataObject
) -> None:
    """Any number of threads stamp at any pace and hand over in any order: no record is dated
    later than the newest stamp, but for the milliseconds by which records lie apart."""
    line, now_s, waiting = Timeline(), 0.0, []
    accepted = 0
    newest_s = 0.0
    for step_s, late_s in zip([*steps, 60.0], late, strict=False):
        now_s += step_s
        waiting.append((now_s + late_s, now_s))
        due = sorted(item for item in waiting if item[0] <= now_s)
        due = data.draw(st.permutations(due)) if due else []
        for item in due:
            waiting.remove(item)
            newest_s = max(newest_s, item[1])
            at_s = line.at(stamp(ZERO_S + item[1], 50.0 + item[1]))
            accepted += 1
            assert at_s <= ZERO_S + newest_s + 0.001 * accepted + 1e-6
    now_s = newest_s + 0.001 * accepted + 1.0
    assert line.at(stamp(ZERO_S + now_s, 50.0 + now_s)) == round((ZERO_S + now_s) * 1000) / 1000
