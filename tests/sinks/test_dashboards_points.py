"""The points that only dashboards and their alert rules ask for."""

from dataclasses import replace

import pytest

from afterfill.alarms.standing import word_of
from afterfill.config import Influxdb
from afterfill.journal.store import Entry, Journal
from afterfill.records import Estimate, Quantiles, Stamp, StandingWord
from afterfill.sinks.influx import sink as influx
from afterfill.sinks.influx.delivered import Delivered
from afterfill.sinks.influx.points import line_of
from afterfill.sinks.influx.sink import InfluxSink
from afterfill.sinks.influx.standings import Standings
from sample_records import SPREAD, START_S, now, orp, running, standing, store
from servers import Engine, Shim, wait_until

NH3 = Quantiles(0.001, 0.002, 0.004)
SEEN = Estimate(START_S, "window", SPREAD, SPREAD, SPREAD, SPREAD, NH3, 0.0, 0.06, True, None)


@pytest.mark.parametrize(
    ("estimate", "word", "why"),
    [
        (SEEN, "safe", ""),
        (replace(SEEN, p_over_limit=0.5), "not-safe", "a residual over the limit"),
        (replace(SEEN, free_ammonia_mg_l=Quantiles(0.0, 0.02, 0.03)), "not-safe", "ammonia"),
        (replace(SEEN, sees=False, why_blind="probe in air"), "cannot-tell", "probe in air"),
        (replace(SEEN, p_over_limit=0.06), "cannot-tell", "is possible"),
        (replace(SEEN, free_ammonia_mg_l=None), "cannot-tell", "ammonia needs"),
    ],
)
def test_an_estimate_says_how_the_tank_stands(estimate: Estimate, word: str, why: str) -> None:
    found = word_of(estimate, 0.0156, ammonia_is_watched=True)
    assert found[0] == word
    assert why in found[1]


def test_a_tank_without_ph_probe_is_safe_as_far_as_its_probes_can_see() -> None:
    blind_to_ammonia = replace(SEEN, free_ammonia_mg_l=None)
    assert word_of(blind_to_ammonia, 0.0156, ammonia_is_watched=False) == ("safe", "")


def test_the_word_goes_with_the_estimate_and_the_reason_only_when_there_is_one() -> None:
    entry = Entry(1, Stamp(START_S, True, "boot", 1.0), SEEN)
    blind = standing(START_S)
    safe = replace(blind, standing="safe", why="")
    line = line_of(entry, "pi", safe)
    assert line is not None
    assert 'standing="safe",since="2026-03-01T07:29:00Z"' in line
    assert "why=" not in line
    assert 'standing="cannot-tell",why="probe in air"' in (line_of(entry, "pi", blind) or "")
    assert "standing" not in (line_of(entry, "pi") or "")


def test_how_a_tank_stands_is_a_point_of_its_own() -> None:
    entry = Entry(7, Stamp(START_S, True, "boot", 1.0), standing(START_S))
    assert line_of(entry, "pi") == (
        'standing,host=pi,tank=window standing="cannot-tell",why="probe in air",'
        f'since="2026-03-01T07:29:00Z",sees=false {START_S:.0f}000000007'
    )


def test_an_estimate_is_told_with_the_word_that_came_before_it_whatever_came_after(
    journal: Journal,
) -> None:
    words: tuple[StandingWord, ...] = ("learning", "safe", "not-safe")
    for word in words:
        store(journal, replace(standing(START_S), standing=word), SEEN)
    store(journal, *(replace(standing(START_S), tank="other") for _ in range(30)))
    stood = Standings(journal)
    told = [stood.at("window", seq) for seq in (1, 2, 4, 6)]
    assert [None if it is None else it.standing for it in told] == [None, *words]
    assert stood.at("no-such-tank", 9) is None


def test_what_was_delivered_ahead_does_not_wait() -> None:
    done = Delivered(100, [(600, 650), (900, 1000)])
    assert done.waiting(1010) == 1010 - 100 - 50 - 100
    assert Delivered(1010).waiting(1010) == 0


def test_the_database_is_told_how_much_waits(
    journal: Journal, database: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(influx, "_BACKLOG_EVERY_S", 0.0)
    store(journal, *(orp(second) for second in range(40)))
    with Shim(database) as shim:
        table = Influxdb(url=shim.url, every_s=1, batch=10)
        with running(InfluxSink(journal.path, table, now, "pi-1", save_cursor_s=0.0)):
            wait_until(lambda: journal.cursor(influx.CURSOR) == 40, "all is delivered")
    rows = database.query('SELECT "waiting", "size_mb", "host" FROM "journal"')
    assert rows[0]["waiting"] == 40
    assert 0.0 < rows[0]["size_mb"] < 10.0
    assert {row["host"] for row in rows} == {"pi-1"}
