"""Many records of one tank as one small blob, and back.

A blob is zlib of JSON lines. The first holds, for each row: its number, its time, when it was
accepted (wall, monotonic, boot, clock quality) and which series it belongs to. Each further line
is a series: rows of one kind with the same strings in them (say, all of one probe), their numbers
column by column. Three probes at 1 Hz take about 6 bytes a second; as rows they took 330.
"""

import json
import zlib
from collections.abc import Callable, Collection, Mapping, Sequence
from typing import Any, NamedTuple

from afterfill.errors import PayloadError
from afterfill.journal.codec import body_of, compact, record_of
from afterfill.journal.columns import packed, unpacked
from afterfill.journal.entry import Entry
from afterfill.record_kinds import KIND_OF, TABLE, types_of
from afterfill.records import Record, Stamp

# What comes all the time, and so is kept in blocks.
BULK = types_of(lambda kind: kind.block_bit is not None)
_BITS = {kind.word: 1 << kind.block_bit for kind in TABLE if kind.block_bit is not None}
ALL_BITS = sum(_BITS.values())

# What a blob is likely to hold, for zlib to point at; the likeliest last. Part of the form: a
# blob can only be read with the very dictionary that it was written with.
_DICTIONARY = (
    b'{"kind":"forecast","is":{"hours":,"residual_below_limit":null,'
    b'"residual_surely_below_limit":null,"free_ammonia_peak_mg_l":null,"free_ammonia_peak":null}}'
    b'\n{"kind":"tick","is":{},"columns":{}}'
    b'\n{"kind":"reading","is":{"value":null,"invalid":"no-answer","raw":"","probe":"'
    b'\n{"kind":"health","is":{"component":"probe ","up":true,"age_s":0.0,"errors":0}}'
    b'\n{"kind":"health","is":{"component":"sink influxdb","up":true,"age_s":,"errors":0}}'
    b'\n{"kind":"health","is":{"component":"sink mqtt","up":true,"age_s":,"errors":0,"detail":"'
    b'\n{"kind":"estimate","is":{"residual_mg_l":{"q05":0.0,"q50":0.0,"q95":0.0},'
    b'"free_chlorine_mg_l":{"q05":0.0,"q50":0.0,"q95":0.0},'
    b'"combined_chlorine_mg_l":{"q05":0.0,"q50":0.0,"q95":0.0},'
    b'"total_ammonia_mg_l":{"q05":0.0,"q50":0.0,"q95":0.0},'
    b'"free_ammonia_mg_l":{"q05":0.00,"q50":0.00,"q95":0.00},'
    b'"p_over_limit":0.0,"detection_floor_mg_l":0.0,"sees":true,"why_blind":null}}'
    b'\n{"kind":"reading","is":{"quantity":"orp","probe":"-orp"},"columns":{"value":[1,'
    b'\n{"kind":"reading","is":{"quantity":"ph","probe":"-ph"},"columns":{"value":[2,'
    b'\n{"kind":"reading","is":{"quantity":"temperature","probe":"-temperature"},'
    b'"columns":{"value":[2,0,0,1,-1,0,2,-2,1,0,0,-1,0,'
    b'{"kinds":["reading","reading","reading","estimate","health","health","health"],'
    b'"boot":[-1,1,0,0,0,0,0,0,0,0,0,0,0,0,0],"synchronised":[-1,1,0,0,0,0,0,0,0,0,0,0,0,0,0],'
    b'"monotonic":[-1,-17,0,0,0,0,0,0,0,0,0,0,0,0,0],"lag":[-1,0,0,0,0,0,0,0,0,0,0,0,0,0,0],'
    b'"of":[-1,0,1,1,-2,1,1,-2,1,1,1,-3,1,1,-2,1,1],"seq":[-1,1,1,1,1,1,1,1,1,1,1,1,1,1,1],'
    b'"time":[-1,18,0,0,1000,0,0,1000,0,0,1000,0,0,1000'
)


class Row(NamedTuple):
    """A record with its number and stamp, on its way into the journal."""

    seq: int
    record: Record
    stamp: Stamp

    @property
    def time_ms(self) -> int:
        """The record's time [Unix ms]."""
        return round(self.record.time_s * 1000)


def is_bulk(record: Record) -> bool:
    """Whether records of this kind are kept in blocks."""
    return isinstance(record, BULK)


def bits_of(kinds: Collection[str]) -> int:
    """Those of `kinds` that are kept in blocks, as the set of bits in a block's row."""
    return sum(_BITS.get(kind, 0) for kind in set(kinds))


def kinds_in(rows: Sequence[Row]) -> int:
    """The kinds of `rows`, as bits."""
    return bits_of([KIND_OF[type(row.record)] for row in rows])


# --- writing -----------------------------------------------------------------------------------


def blob_of(rows: Sequence[Row], word: Callable[[str], int]) -> bytes:
    """The blob of `rows`; `word` gives a text's number in the journal."""
    numbers: dict[tuple[Any, ...], int] = {}
    series: list[list[dict[str, Any]]] = []
    of: list[int] = []
    for row in rows:
        body = body_of(row.record)
        of.append(numbers.setdefault((KIND_OF[type(row.record)], *_shape(body)), len(series)))
        if of[-1] == len(series):
            series.append([])
        series[of[-1]].append(body)
    kinds = [key[0] for key in numbers]
    lines = [_head(rows, of, kinds, word), *map(_series_line, kinds, series)]
    return _deflated("\n".join(compact(line) for line in lines))


def _shape(body: Mapping[str, Any]) -> list[tuple[str, type, Any]]:
    """What rows of one series have in common: their keys, and what is no number."""
    return [(k, type(v), v if isinstance(v, str | bool) else None) for k, v in body.items()]


def _head(
    rows: Sequence[Row], of: list[int], kinds: list[str], word: Callable[[str], int]
) -> dict[str, Any]:
    times, stamps = [row.time_ms for row in rows], [row.stamp for row in rows]
    accepted = [round(stamp.time_s * 1000) for stamp in stamps]
    return {
        "kinds": kinds,
        "boot": packed([word(stamp.boot_id) for stamp in stamps]),
        "synchronised": packed([int(stamp.synchronised) for stamp in stamps]),
        "monotonic": packed(_offsets([stamp.monotonic_s for stamp in stamps], accepted)),
        "lag": packed([a - t for a, t in zip(accepted, times, strict=True)]),
        "of": packed(of),
        "seq": packed([row.seq for row in rows]),
        "time": packed(times),
    }


def _offsets(monotonic_s: list[float], accepted: list[int]) -> list[Any]:
    """The monotonic times from the accepted ones [ms]: nearly constant; else as they are [s]."""
    offsets = [round(m * 1000) - a for m, a in zip(monotonic_s, accepted, strict=True)]
    exact = all((a + o) / 1000 == m for o, a, m in zip(offsets, accepted, monotonic_s, strict=True))
    return offsets if exact else [float(m) for m in monotonic_s]


def _series_line(kind: str, bodies: list[dict[str, Any]]) -> dict[str, Any]:
    same, columns = {}, {}
    for name, value in bodies[0].items():
        if len(bodies) == 1 or value is None or isinstance(value, str | bool):
            same[name] = value
        else:
            columns[name] = packed([body[name] for body in bodies])
    line = {"kind": kind, "is": same}
    return {**line, "columns": columns} if columns else line


def _deflated(text: str) -> bytes:
    packer = zlib.compressobj(level=9, zdict=_DICTIONARY)
    return packer.compress(text.encode("utf-8", "surrogatepass")) + packer.flush()


# --- reading -----------------------------------------------------------------------------------


class Block:
    """A blob that was read. Raises PayloadError from everything when it is none of this form."""

    def __init__(self, tank: str, blob: bytes, text_of: Callable[[int], str]) -> None:
        """`text_of` gives the text of a word's number."""
        self._tank, self._text_of = tank, text_of
        head, *self._lines = inflated(blob)
        try:
            line = json.loads(head)
            self._kinds: list[str] = line.pop("kinds")
            columns = {name: unpacked(column) for name, column in line.items()}
            self.seqs: list[int] = columns["seq"]
            self.times_ms: list[int] = columns["time"]
            self._of, self._lag, self._boot = columns["of"], columns["lag"], columns["boot"]
            self._monotonic, self._synchronised = columns["monotonic"], columns["synchronised"]
        except (KeyError, TypeError, ValueError) as error:
            raise PayloadError(f"a block of another version: {error}") from error
        self._series: dict[int, Callable[[int], dict[str, Any]]] = {}
        self._place = _places(self._of)

    def indices(self, kinds: Collection[str] | None) -> list[int]:
        """The rows of these kinds, in order of their numbers."""
        if kinds is None:
            return list(range(len(self.seqs)))
        wanted = {number for number, kind in enumerate(self._kinds) if kind in kinds}
        return [index for index, number in enumerate(self._of) if number in wanted]

    def entry(self, index: int) -> Entry:
        """Row `index`. Raises PayloadError when this version does not know its form."""
        number, time_ms = self._of[index], self.times_ms[index]
        body = self._bodies(number)(self._place[index])
        record = record_of(self._kinds[number], self._tank, time_ms, body)
        return Entry(self.seqs[index], self.stamp(index), record)

    def stamp(self, index: int) -> Stamp:
        """When row `index` was accepted."""
        accepted, monotonic = self.times_ms[index] + self._lag[index], self._monotonic[index]
        if isinstance(monotonic, int):
            monotonic = (accepted + monotonic) / 1000
        return Stamp(
            accepted / 1000,
            bool(self._synchronised[index]),
            self._text_of(self._boot[index]),
            monotonic,
        )

    def _bodies(self, number: int) -> Callable[[int], dict[str, Any]]:
        if number not in self._series:
            try:
                self._series[number] = _bodies(json.loads(self._lines[number]))
            except (IndexError, KeyError, TypeError, ValueError) as error:
                raise PayloadError(f"a block of another version: {error}") from error
        return self._series[number]


def _bodies(line: Mapping[str, Any]) -> Callable[[int], dict[str, Any]]:
    same: dict[str, Any] = line["is"]
    columns = {name: unpacked(column) for name, column in line.get("columns", {}).items()}
    return lambda place: {**same, **{name: values[place] for name, values in columns.items()}}


def _places(of: Sequence[int]) -> list[int]:
    """For each row, how many of its series come before it."""
    met: dict[int, int] = {}
    places = []
    for number in of:
        places.append(met.get(number, 0))
        met[number] = places[-1] + 1
    return places


def inflated(blob: bytes) -> list[str]:
    """The lines of a blob. Raises PayloadError when it cannot be unpacked."""
    try:
        unpacker = zlib.decompressobj(zdict=_DICTIONARY)
        return unpacker.decompress(blob).decode("utf-8", "surrogatepass").split("\n")
    except (ValueError, zlib.error) as error:
        raise PayloadError(f"a block that cannot be unpacked: {error}") from error
