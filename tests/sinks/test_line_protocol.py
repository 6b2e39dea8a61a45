import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from afterfill.journal.store import Entry
from afterfill.record_kinds import KIND_OF
from afterfill.records import Record, Stamp
from afterfill.sinks.influx.line_protocol import FieldValue, line
from afterfill.sinks.influx.points import KINDS, line_of
from record_strategies import outputs, readings, stamps
from servers import Engine


def test_types_are_told_apart() -> None:
    fields: dict[str, FieldValue] = {"a": 1.0, "b": 2, "c": True, "d": 'say "so"\\', "e": None}
    assert line("m", {"t": "x"}, fields, 5) == r'm,t=x a=1.0,b=2i,c=true,d="say \"so\"\\" 5'


def test_numbers_that_are_none_are_left_out() -> None:
    assert line("m", {}, {"a": math.nan, "b": math.inf, "c": -math.inf}, 5) is None
    assert line("m", {"t": ""}, {"a": math.nan, "b": 0.0}, 5) == "m b=0.0 5"


def test_tags_are_sorted_and_escaped() -> None:
    tags = {"z": "a,b=c d", "b": "two\nlines", "a": "end\\"}
    assert line("m", tags, {"v": 1.0}, 5) == "m,a=end/,b=two\\ lines,z=a\\,b\\=c\\ d v=1.0 5"


@given(record=readings | outputs, stamp=stamps, seq=st.integers(1, 10**9))
def test_every_record_for_the_database_makes_one_line_without_nan(
    record: Record, stamp: Stamp, seq: int
) -> None:
    found = line_of(Entry(seq, stamp, record), "pi-1")
    assert (found is not None) == (KIND_OF[type(record)] in KINDS)
    if found is None:
        return
    assert "\n" not in found
    time_ns = int(found.rsplit(" ", 1)[1])
    assert 0 <= time_ns - round(record.time_s * 1000) * 1_000_000 < 1000


@pytest.mark.system
def test_a_real_engine_reads_back_texts_of_every_kind(tmp_path: Path) -> None:
    texts = ["plain", "a b", "a,b", "a=b", 'q"q', "back\\slash", "ümläut °", "end\\", "#", "'"]
    with Engine(tmp_path) as engine:
        assert isinstance(engine, Engine)
        engine.query('CREATE DATABASE "afterfill"')
        for number, text in enumerate(texts):
            written = line("m", {"tag": text}, {"text": text, "v": 1.5}, number + 1)
            assert written is not None
            engine.write(written)
        rows = engine.query('SELECT "text", "tag", "v" FROM "m"')
    assert [row["text"] for row in rows] == texts
    assert [row["tag"] for row in rows] == [t.replace("end\\", "end/") for t in texts]
