"""The database is away for long: what waits, what is said, and that each point arrives once."""

from collections import Counter
from pathlib import Path

import pytest

from afterfill.config import Influxdb
from afterfill.journal.store import Journal
from afterfill.records import Reading
from afterfill.sinks.influx.delivered import Delivered
from afterfill.sinks.influx.outbox import outbox_warning
from afterfill.sinks.influx.quarantine import Quarantine
from afterfill.sinks.influx.sink import CURSOR, InfluxSink
from sample_records import START_S, now, orp, running, store, verdict
from servers import Engine, Shim, Victoria, wait_until

pytestmark = pytest.mark.system
TANKS = ("cellar", "hall", "window")
EVERY_S = 10
DAY = range(0, 86_400, EVERY_S)


def a_day_of_readings(journal: Journal) -> int:
    """Three tanks, a reading each 10 s for 24 h."""
    return store(journal, *(orp(second, 300.0, tank) for second in DAY for tank in TANKS))


def sink_to(journal: Journal, url: str, **settings: object) -> InfluxSink:
    table = Influxdb.model_validate({"url": url, "every_s": 1, "batch": 1000, **settings})
    return InfluxSink(journal.path, table, now, "pi-1", save_cursor_s=0.0)


def wait_for_cursor(journal: Journal, seq: int) -> None:
    wait_until(lambda: journal.cursor(CURSOR) >= seq, f"the cursor reaches {seq}", 90)


def seconds_of(line: str) -> int:
    return int(line.rsplit(" ", 1)[1]) // 10**9 - int(START_S)


def test_a_day_is_filled_in_with_each_point_once_while_the_present_goes_on(
    journal: Journal, database: Engine
) -> None:
    a_day_of_readings(journal)
    with Shim(database) as shim, running(sink_to(journal, shim.url, batch=50)):
        wait_until(lambda: len(shim.requests) >= 3, "the backlog is being filled in")
        fresh = store(journal, orp(90_000))
        wait_for_cursor(journal, fresh)
        requests = [[seconds_of(line) for line in lines] for _, lines in shim.requests]
    present = next(n for n, seconds in enumerate(requests) if 90_000 in seconds)
    assert present < len(requests) - 50, "the present waited behind the backlog"
    assert max(requests[0]) == DAY[-1], "the newest batch goes first"
    past = [s for batch in requests[1:] for s in batch if s < 90_000]
    assert past == sorted(past), "the backlog is not filled in in order"
    sent = Counter(s for batch in requests for s in batch)
    assert sent == Counter({**dict.fromkeys(DAY, len(TANKS)), 90_000: 1}), "a point came twice"
    rows = database.query('SELECT count("value") FROM "reading" GROUP BY "tank"')
    assert {row["tank"]: row["count"] for row in rows} == {
        "cellar": len(DAY), "hall": len(DAY), "window": len(DAY) + 1,
    }  # fmt: skip


def test_a_day_is_filled_into_the_other_engine_with_each_point_once(
    journal: Journal, tmp_path: Path
) -> None:
    last = a_day_of_readings(journal)
    with Victoria(tmp_path / "victoria") as server:
        assert isinstance(server, Victoria)
        with running(sink_to(journal, f"http://127.0.0.1:{server.port}")):
            wait_for_cursor(journal, last)
        series = server.export("reading_value")
    assert {s["metric"]["tank"] for s in series} == set(TANKS)
    expected = [int(START_S + second) * 1000 for second in DAY]
    for one in series:
        assert sorted(one["timestamps"]) == expected


def test_a_restart_in_the_middle_sends_nothing_of_the_present_again(
    journal: Journal, database: Engine
) -> None:
    last = store(journal, *map(orp, range(3000)))
    with Shim(database) as shim:
        with running(sink_to(journal, shim.url, batch=100)):
            wait_until(lambda: journal.cursor(CURSOR) >= 300, "part of the backlog is in")
        with running(sink_to(journal, shim.url, batch=100)):
            wait_for_cursor(journal, last)
        sent = Counter(line for _, lines in shim.requests for line in lines)
    assert len(sent) == 3000
    assert set(sent.values()) == {1}


def test_refused_points_and_their_reason_outlive_a_restart_and_are_counted_once(
    journal: Journal, database: Engine
) -> None:
    database.write(f'verdict,tank=odd probability="text" {int((START_S - 99) * 1e9)}')
    last = store(journal, orp(0), verdict(START_S + 1), orp(2))
    with Shim(database) as shim:
        with running(sink_to(journal, shim.url)):
            wait_for_cursor(journal, last)
        again = sink_to(journal, shim.url)
        more = store(journal, orp(3))
        with running(again):
            wait_for_cursor(journal, more)
            detail = again.health().detail
    assert "1 point was refused" in detail
    assert "field type conflict" in detail
    kept = Quarantine(journal)
    assert kept.add({2: ("the same", "again")}) == 0
    assert kept.count == 1


def test_points_beyond_the_bucket_s_own_retention_are_set_aside_without_searching(
    journal: Journal, database: Engine
) -> None:
    database.query(
        'CREATE RETENTION POLICY "brief" ON "afterfill" DURATION 1h REPLICATION 1 DEFAULT'
    )
    last = store(journal, *map(orp, range(500)))
    with Shim(database) as shim:
        with running(sink_to(journal, shim.url)):
            wait_for_cursor(journal, last)
        assert len(shim.requests) == 1
    kept = Quarantine(journal)
    assert kept.count == 500
    assert "retention policy" in kept.sentence()


def test_a_full_journal_is_told_in_advance_with_the_date(journal: Journal) -> None:
    store(journal, *map(orp, range(5000)))  # the same each second: some 20 kB a day
    a_day_s = 86_400.0
    soon = outbox_warning(journal, CURSOR, max_mb=0.2, now_s=START_S)
    assert "if nothing is delivered before 2026-03-" in soon
    assert "raise max_mb" in soon
    days = journal.days_until_lost(CURSOR, 0.2)
    assert days is not None
    assert 1 < days < 30
    assert outbox_warning(journal, CURSOR, max_mb=0.2, now_s=START_S + a_day_s) > soon
    assert outbox_warning(journal, CURSOR, max_mb=1e6, now_s=START_S) == ""


def test_the_date_is_in_health_while_the_database_is_away_and_gone_when_it_is_back(
    journal: Journal, database: Engine
) -> None:
    last = store(journal, *map(orp, range(5000)))
    with Shim(database) as shim:
        shim.status = 503
        table = Influxdb(url=shim.url, every_s=1)
        sink = InfluxSink(journal.path, table, now, "pi-1", save_cursor_s=0.0, max_mb=0.2)
        with running(sink):
            wait_until(lambda: "if nothing is delivered before 20" in sink.health().detail, "it")
            assert "cannot take points now" in sink.health().detail
            shim.status = 0
            wait_for_cursor(journal, last)
            assert sink.health().detail == ""


def test_a_long_absence_leaves_no_empty_intervals_behind() -> None:
    done = Delivered(0)
    for last in range(0, 100_000, 2000):
        done.begin_ahead(last)
    assert done.ahead == [(98_000, 98_000)]


def test_a_journal_without_rows_or_of_one_moment_foretells_nothing(journal: Journal) -> None:
    assert journal.days_until_lost(CURSOR, 10.0) is None
    store(journal, Reading(START_S, "window", "orp", 300.0, "window-orp"))
    assert journal.days_until_lost(CURSOR, 10.0) is None


def test_intervals_delivered_ahead_are_skipped_when_the_backlog_reaches_them() -> None:
    done = Delivered(100)
    done.begin_ahead(500)
    done.advanced(600)
    done = Delivered.read(200, done.text())
    done.begin_ahead(900)
    done.advanced(950)
    assert done.gap(1000) == (200, 500)
    done.filled(500)
    assert done.gap(1000) == (600, 900)
    done.filled(900)
    assert done.gap(1000) == (950, 1000)
    assert done.ahead == []


def test_each_tank_s_limits_are_told_at_the_start(journal: Journal, database: Engine) -> None:
    limits = {"window": {"residual_oxidant_mg_l": 0.011, "free_ammonia_mg_l": 0.0156}}
    with Shim(database) as shim:
        table = Influxdb(url=shim.url, every_s=1)
        last = store(journal, orp(0))
        with running(InfluxSink(journal.path, table, now, "pi-1", limits=limits)):
            wait_until(lambda: len(shim.requests) == 2, "limits and a reading")
    assert last == 1
    (row,) = database.query('SELECT * FROM "limit"')
    assert (row["tank"], row["residual_oxidant_mg_l"], row["free_ammonia_mg_l"]) == (
        "window", 0.011, 0.0156,
    )  # fmt: skip
