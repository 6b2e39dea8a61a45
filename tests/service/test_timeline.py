import itertools

from hypothesis import given
from hypothesis import strategies as st

from afterfill.records import Stamp
from afterfill.service.timeline import Timeline


def stamp(time_s: float, monotonic_s: float, boot: str = "b") -> Stamp:
    return Stamp(time_s, True, boot, monotonic_s)


def test_time_is_the_wall_clocks_while_that_goes_on() -> None:
    line = Timeline()
    assert [line.at(stamp(1000.0 + n, n)) for n in range(3)] == [1000.0, 1001.0, 1002.0]


def test_two_at_once_are_a_millisecond_apart() -> None:
    line = Timeline()
    assert [line.at(stamp(1000.0, 1.0)) for _ in range(3)] == [1000.0, 1000.001, 1000.002]


def test_a_clock_set_back_an_hour_does_not_stop_time() -> None:
    line = Timeline()
    line.at(stamp(10_000.0, 0.0))
    assert line.at(stamp(6_400.0, 60.0)) == 10_059.999
    assert line.at(stamp(6_460.0, 120.0)) == 10_119.998


def test_a_restart_goes_on_after_the_last_record() -> None:
    line = Timeline(last_s=5_000.0)
    assert line.at(stamp(4_000.0, 3.0, "another boot")) == 5_000.001


@given(st.lists(st.tuples(st.floats(0, 2e9), st.floats(0, 1e6)), min_size=2, max_size=40))
def test_it_only_ever_goes_forward(moments: list[tuple[float, float]]) -> None:
    line = Timeline()
    monotonic = sorted(m for _, m in moments)
    times = [line.at(stamp(wall, m)) for (wall, _), m in zip(moments, monotonic, strict=True)]
    assert all(later > earlier for earlier, later in itertools.pairwise(times))
