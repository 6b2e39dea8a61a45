"""The points that only dashboards and their alert rules ask for."""

from dataclasses import replace

import pytest

from afterfill.alarms.standing import word_of
from afterfill.config import Influxdb
from afterfill.journal.store import Entry, Journal
from afterfill.records import Estimate, Quantiles, Stamp
from afterfill.sinks import influx
from afterfill.sinks.delivered import Delivered
from afterfill.sinks.influx import InfluxSink
from afterfill.sinks.points import line_of
from sample_records import SPREAD, START_S, now, orp, running, store
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
        (replace(SEEN, p_over_limit=0.06), "cannot-tell", "p 0.06"),
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
    safe = line_of(entry, "pi", lambda _: ("safe", ""))
    blind = line_of(entry, "pi", lambda _: ("cannot-tell", "probe in air"))
    assert safe is not None
    assert blind is not None
    assert 'standing="safe"' in safe
    assert "why=" not in safe
    assert 'standing="cannot-tell",why="probe in air"' in blind


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
