"""The time-series sink against real servers: influxd 1.x behind a shim, and victoria-metrics."""

from pathlib import Path

import pytest

from afterfill.config import Influxdb
from afterfill.journal.store import Journal
from afterfill.records import Record
from afterfill.sinks.influx.quarantine import Quarantine
from afterfill.sinks.influx.sink import CURSOR, InfluxSink
from sample_records import START_S, now, one_of_each, orp, running, store, verdict
from servers import Engine, Shim, Victoria, free_port, wait_until

pytestmark = pytest.mark.system


def sink_to(journal: Journal, url: str, **settings: object) -> InfluxSink:
    table = Influxdb.model_validate({"url": url, "every_s": 1, **settings})
    return InfluxSink(journal.path, table, now, "pi-1", save_cursor_s=0.0)


def wait_for_cursor(journal: Journal, seq: int) -> None:
    wait_until(lambda: journal.cursor(CURSOR) >= seq, f"the cursor reaches {seq}")


def test_each_kind_of_record_arrives_with_its_tags_and_fields(
    journal: Journal, database: Engine
) -> None:
    last = store(journal, *one_of_each())
    with Shim(database) as shim, running(sink := sink_to(journal, shim.url)):
        wait_for_cursor(journal, last)
        assert sink.health().up
    assert shim.requests[0][0]["Content-Encoding"] == "gzip"
    assert len(shim.requests) == 1

    orp_row, ph_row = database.query('SELECT * FROM "reading" ORDER BY time', "afterfill")
    common = {"time": START_S * 1000, "tank": "window", "host": "pi-1"}
    by_quantity = {row["quantity"]: row for row in (orp_row, ph_row)}
    assert by_quantity["orp"] == {
        **common, "quantity": "orp", "probe": "window-orp", "value": 300, "valid": True,
    }  # fmt: skip
    assert by_quantity["ph"] == {
        **common, "quantity": "ph", "probe": "window-ph", "value": None, "valid": False,
    }  # fmt: skip
    (row,) = database.query('SELECT * FROM "estimate"')
    assert (row["residual_q05_mg_l"], row["residual_q50_mg_l"], row["residual_q95_mg_l"]) == (
        0.01, 0.12, 0.5,
    )  # fmt: skip
    assert (row["p_over_limit"], row["sees"], row["why_blind"]) == (0.03, False, "probe in air")
    assert "free_ammonia_q50_mg_l" not in row
    assert "detection_floor_mg_l" not in row
    (row,) = database.query('SELECT * FROM "refill"')
    assert (row["origin"], row["fraction_q50"]) == ("announced", 0.25)
    (row,) = database.query('SELECT * FROM "verdict"')
    assert (row["verdict"], row["probability"], row["final"]) == ("carried-over", 0.97, False)
    assert row["peak_residual_q95_mg_l"] == 0.5
    (row,) = database.query('SELECT * FROM "alarm"')
    assert (row["alarm"], row["priority"]) == ("residual-oxidant", "high")
    assert (row["state"], row["active"]) == ("unacknowledged", True)
    (row,) = database.query('SELECT * FROM "health"')
    assert (row["component"], row["up"], row["age_s"], row["errors"]) == (
        "probe window-orp",
        True,
        0.5,
        3,
    )


def test_two_verdicts_of_one_instant_are_both_kept(journal: Journal, database: Engine) -> None:
    last = store(journal, verdict(START_S), verdict(START_S, final=True))
    with Shim(database) as shim, running(sink_to(journal, shim.url)):
        wait_for_cursor(journal, last)
    assert [r["final"] for r in database.query('SELECT * FROM "verdict"')] == [False, True]


def test_a_database_that_was_away_is_back_filled_with_each_point_once(
    journal: Journal, database: Engine
) -> None:
    with Shim(database) as shim:
        sink = sink_to(journal, shim.url, batch=100)
        with running(sink):
            wait_for_cursor(journal, store(journal, *map(orp, range(50))))
            database.kill()
            last = store(journal, *map(orp, range(50, 500)))
            wait_until(lambda: "cannot take points now" in sink.health().detail, "the outage")
            assert not sink.health().up
            assert journal.cursor(CURSOR) == 50
            database.start()
            wait_for_cursor(journal, last)
            assert sink.health().up
            assert sink.health().detail == ""
        after_outage = [lines for _, lines in shim.requests if len(lines) > 1][-5:]
    rows = database.query('SELECT "value" FROM "reading"')
    assert [row["value"] for row in rows] == [300 + n for n in range(500)]
    sent = [line for lines in after_outage for line in lines]
    assert sent == sorted(sent, key=lambda line: int(line.rsplit(" ", 1)[1])), "not in order"


def test_a_new_start_goes_on_where_the_last_one_stopped(journal: Journal, database: Engine) -> None:
    with Shim(database) as shim:
        for first in (0, 10):
            last = store(journal, *map(orp, range(first, first + 10)))
            with running(sink_to(journal, shim.url)):
                wait_for_cursor(journal, last)
        assert [len(lines) for _, lines in shim.requests] == [10, 10]


def test_the_cursor_is_kept_at_the_end_even_when_it_is_saved_rarely(
    journal: Journal, database: Engine
) -> None:
    first = store(journal, orp(0))
    with Shim(database) as shim:
        table = Influxdb(url=shim.url, every_s=1)
        sink = InfluxSink(journal.path, table, now, "pi-1", save_cursor_s=3600)
        with running(sink):
            wait_for_cursor(journal, first)
            last = store(journal, orp(1))
            wait_until(lambda: len(shim.requests) == 2, "the second point is sent")
            assert journal.cursor(CURSOR) == first
    assert journal.cursor(CURSOR) == last


def test_a_point_that_the_database_refuses_is_set_aside_and_the_others_arrive(
    journal: Journal, database: Engine
) -> None:
    database.write(f'verdict,tank=odd probability="text" {int((START_S - 99) * 1e9)}')
    records: list[Record] = [orp(n) for n in range(64)]
    records[37] = verdict(START_S + 37)  # its probability is a number, a text is stored there
    last = store(journal, *records)
    with Shim(database) as shim, running(sink := sink_to(journal, shim.url)):
        wait_for_cursor(journal, last)
        health = sink.health()
    stored = database.query('SELECT "value" FROM "reading"')
    assert [row["value"] for row in stored] == [300 + n for n in range(64) if n != 37]
    assert health.errors == 1
    assert health.up
    assert "1 point was refused by the database and set aside" in health.detail
    assert "the last: verdict,host=pi-1,tank=window" in health.detail
    assert "field type conflict" in health.detail


def test_a_database_that_refuses_everything_is_not_fed_into_the_quarantine(
    journal: Journal, database: Engine
) -> None:
    store(journal, *map(orp, range(30)))
    with Shim(database) as shim:
        shim.status = 400
        with running(sink := sink_to(journal, shim.url)):
            wait_until(lambda: "refuses everything" in sink.health().detail, "the sentence")
    assert journal.cursor(CURSOR) == 0
    assert Quarantine(journal).count == 0


@pytest.mark.parametrize(
    ("settings", "sentence"),
    [
        ({"bucket": "absent"}, "knows no bucket 'absent'"),
        ({"token": "wrong"}, "refuses the token (401); check [influxdb] token_file"),
        ({"token": None}, "token_file"),
        ({"url": "closed"}, "does not answer"),
    ],
    ids=["bucket", "token", "no-token-file", "refused"],
)
def test_what_is_wrong_with_the_connection_is_told_in_one_sentence(
    journal: Journal,
    database: Engine,
    tmp_path: Path,
    settings: dict[str, str | None],
    sentence: str,
) -> None:
    store(journal, orp(0))
    token_file = tmp_path / "token"
    if settings.get("token", "right") is not None:
        token_file.write_text(f"{settings.get('token', 'right')}\n")
    with Shim(database, token="right") as shim:
        url = f"http://127.0.0.1:{free_port()}" if "url" in settings else shim.url
        bucket = settings.get("bucket", "afterfill")
        sink = sink_to(journal, url, bucket=bucket, token_file=token_file)
        with running(sink):
            wait_until(lambda: sentence in sink.health().detail, sentence)
    assert not sink.health().up
    assert journal.cursor(CURSOR) == 0


def test_the_right_token_is_accepted(journal: Journal, database: Engine, tmp_path: Path) -> None:
    (tmp_path / "token").write_text("right\n")
    last = store(journal, orp(0))
    with (
        Shim(database, token="right") as shim,
        running(sink_to(journal, shim.url, token_file=tmp_path / "token")),
    ):
        wait_for_cursor(journal, last)


@pytest.mark.parametrize("path", ["", "/insert/0/influx"])
def test_victoria_metrics_takes_the_points_at_the_same_address_below_any_path(
    journal: Journal, tmp_path: Path, path: str
) -> None:
    last = store(journal, *one_of_each(), *map(orp, range(1, 100)))
    with Victoria(tmp_path / "victoria", path) as server:
        assert isinstance(server, Victoria)
        with running(sink_to(journal, server.url)):
            wait_for_cursor(journal, last)
        (series,) = server.export('reading_value{quantity="orp"}')
        assert series["values"] == [300 + n for n in range(100)]
        assert series["timestamps"][0] == START_S * 1000
        assert series["metric"]["tank"] == "window"
        assert len(server.export("estimate_residual_q50_mg_l")) == 1
