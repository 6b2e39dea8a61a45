import json
import zlib
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from afterfill.errors import PayloadError
from afterfill.journal import block
from afterfill.journal.block import (
    ALL_BITS,
    Block,
    Row,
    bits_of,
    blob_of,
    inflated,
    is_bulk,
    kinds_in,
)
from afterfill.journal.entry import Entry
from afterfill.records import Dose, Estimate, Health, Reading, Stamp, Tick
from record_strategies import numbers, quantiles, readings, stamps, tanks, texts, times_s

T0_S = 1_772_350_200.0
WORDS = ["", "boot", "later boot"]
ROWS = [
    Row(7, Reading(T0_S, "t", "orp", 312.5, "p"), Stamp(T0_S + 0.25, True, "boot", 10.5)),
    Row(8, Reading(T0_S, "t", "ph", 7.25), Stamp(T0_S + 0.25, True, "boot", 10.5)),
    Row(9, Tick(T0_S - 1, "t"), Stamp(T0_S + 0.25, False, "boot", 10.5)),
    Row(12, Reading(T0_S + 1, "t", "orp", 312.25, "p"), Stamp(T0_S + 1, True, "later boot", 11.25)),
    Row(13, Reading(T0_S + 2, "t", "orp", None, "p", "no-answer"), Stamp(T0_S, True, "boot", 0.0)),
]  # fmt: skip
TEXT = """\
{"kinds":["reading","reading","tick","reading"],"boot":[-1,1,0,0,1,-1],\
"synchronised":[-1,1,0,-1,1,0],\
"monotonic":[-1,-1772350189750,0,0,0,-10250],"lag":[-1,250,0,1000,-1250,-2000],\
"of":[-1,0,1,1,-2,3],"seq":[-1,7,1,1,3,1],\
"time":[-1,1772350200000,0,-1000,2000,1000]}
{"kind":"reading","is":{"quantity":"orp","probe":"p"},"columns":{"value":[2,31250,-25]}}
{"kind":"reading","is":{"quantity":"ph","value":7.25}}
{"kind":"tick","is":{}}
{"kind":"reading","is":{"quantity":"orp","value":null,"probe":"p","invalid":"no-answer"}}"""
STORED = (  # zlib 1.2.13
    "78f92251d188231005d0d2182680258c41c18133482114d610343732363530b4b03437858589aea18191294a"
    "f81999c2ddab6b08e2e81a01d9d882ce183984ccc1a2c6e8e101b112648201d43a200de2826d8825279b16e0"
    "4cf5c650f79ac61299ffc1f915aadf5ccfc814679d488a3b51ea4584a3b1d791b5b500a7c69614"
)


def opened(blob: bytes, tank: str = "t") -> Block:
    return Block(tank, blob, WORDS.__getitem__)


def blob(text: str) -> bytes:
    packer = zlib.compressobj(zdict=block._DICTIONARY)
    return packer.compress(text.encode()) + packer.flush()


def entries(found: Block) -> list[Entry]:
    return [found.entry(index) for index in found.indices(None)]


def test_the_form_of_a_blob() -> None:
    assert "\n".join(inflated(blob_of(ROWS, WORDS.index))) == TEXT


def test_a_blob_written_by_an_earlier_version_is_read() -> None:
    assert "\n".join(inflated(bytes.fromhex(STORED))) == TEXT
    found = opened(bytes.fromhex(STORED))
    assert entries(found) == [Entry(row.seq, row.stamp, row.record) for row in ROWS]
    assert (found.seqs, found.times_ms) == ([r.seq for r in ROWS], [r.time_ms for r in ROWS])


def test_a_blob_is_small() -> None:
    assert len(blob_of(ROWS, WORDS.index)) <= len(bytes.fromhex(STORED)) + 8


def test_rows_are_found_by_kind() -> None:
    found = opened(blob_of(ROWS, WORDS.index))
    assert found.indices(["tick"]) == [2]
    assert found.indices(["reading", "dose"]) == [0, 1, 3, 4]
    assert found.indices([]) == []


frequent = (
    readings
    | st.builds(Tick, times_s, tanks)
    | st.builds(Health, times_s, tanks, texts, st.booleans(), st.none() | numbers, st.integers(0))
    | st.builds(Estimate, times_s, tanks, *[quantiles] * 5, numbers, st.none() | numbers,
                st.booleans(), st.none() | texts)
)  # fmt: skip
bulk = st.lists(st.tuples(frequent, stamps), min_size=1, max_size=8)


@given(bulk)
def test_any_rows_come_back(some: list[tuple[Any, Stamp]]) -> None:
    words: list[str] = []

    def word(text: str) -> int:
        if text not in words:
            words.append(text)
        return words.index(text)

    rows = [Row(n * n, record, stamp) for n, (record, stamp) in enumerate(some, 1)]
    for row in rows:
        found = Block(row.record.tank, blob_of([row], word), words.__getitem__)
        assert repr(entries(found)) == repr([Entry(row.seq, row.stamp, row.record)])
    found = Block("all", blob_of(rows, word), words.__getitem__)
    assert [entry.stamp for entry in entries(found)] == [row.stamp for row in rows]
    assert [type(entry.record) for entry in entries(found)] == [type(row.record) for row in rows]


def test_monotonic_times_off_the_grid_come_back() -> None:
    stamps = [Stamp(T0_S, True, "boot", s) for s in (0.1 + 0.2, 1e-9, 5)]
    rows = [Row(n, Tick(T0_S, "t"), stamp) for n, stamp in enumerate(stamps, 1)]
    head = json.loads(inflated(blob_of(rows, WORDS.index))[0])
    assert repr(head["monotonic"]) == repr([None, 0.1 + 0.2, 1e-9, 5.0])
    found = opened(blob_of(rows, WORDS.index))
    assert [found.stamp(i).monotonic_s for i in range(3)] == [0.1 + 0.2, 1e-9, 5.0]


def test_a_series_comes_back_in_its_order_with_any_text() -> None:
    stamp = Stamp(T0_S, True, "boot", 1.0)
    values = (7.1, 7.4, 7.2, 7.3)
    rows = [Row(n, Reading(T0_S, "t", "ph", v, "\udce4"), stamp) for n, v in enumerate(values, 1)]
    assert [e.record for e in entries(opened(blob_of(rows, WORDS.index)))] == [
        row.record for row in rows
    ]


def test_kinds_as_bits() -> None:
    assert bits_of(["reading", "tick", "estimate", "forecast", "health"]) == ALL_BITS == 31
    assert [bits_of([k]) for k in ("reading", "tick", "estimate", "forecast", "health")] == [
        1, 2, 4, 8, 16,
    ]  # fmt: skip
    assert bits_of(["tick", "tick", "dose"]) == 2
    assert kinds_in(ROWS) == 3
    assert is_bulk(Health(T0_S, "t", "c", True, None, 0))
    assert not is_bulk(Dose(T0_S, "t", 1.0))


@pytest.mark.parametrize(
    "text",
    [
        "{}", "[]", "no JSON", TEXT.replace('"of"', '"fo"'), TEXT.replace('"kinds"', '"k"'),
        TEXT.replace('"seq":[-1,', '"seq":["x",'), TEXT.replace('"lag"', '"l"'),
        TEXT.replace('"boot"', '"b"'), TEXT.replace('"monotonic"', '"m"'),
        TEXT.replace('"synchronised"', '"s"'), TEXT.replace('"time"', '"t"'),
        TEXT.replace('"seq"', '"q"'), TEXT.replace('"seq":[-1,', '"seq":[-1,null,'),
    ],
)  # fmt: skip
def test_a_head_of_another_version_is_told_apart(text: str) -> None:
    with pytest.raises(PayloadError, match="a block of another version"):
        opened(blob(text))


@pytest.mark.parametrize(
    "text",
    [
        TEXT.split("\n")[0], TEXT.replace('"is":{"quantity":"orp","probe"', '"si":{"probe"'),
        TEXT.replace('{"kind":"reading","is":{"quantity":"orp","probe"', "{"),
        TEXT.replace('"value":[2,', '"value":["2",'), TEXT.replace('"columns":{', '"columns":[{'),
    ],
)  # fmt: skip
def test_a_series_of_another_version_is_told_apart(text: str) -> None:
    found = opened(blob(text))
    with pytest.raises(PayloadError, match="a block of another version"):
        found.entry(0)


@pytest.mark.parametrize("blob", [b"", b"x", zlib.compress(b"{}"), bytes.fromhex("78f9")], ids=repr)
def test_what_cannot_be_unpacked_is_told_apart(blob: bytes) -> None:
    with pytest.raises(PayloadError):
        opened(blob)


def test_bytes_that_are_no_text_are_told_apart() -> None:
    packer = zlib.compressobj(zdict=block._DICTIONARY)
    with pytest.raises(PayloadError, match="cannot be unpacked"):
        inflated(packer.compress(b"\xff") + packer.flush())
