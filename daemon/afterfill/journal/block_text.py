"""A block's readings and findings as texts, without making records of them.

An export of months reads some hundred thousand blocks, nearly all of one usual form: this reads
that form as the text it is, and leaves every other to `block.py`.
"""

import json
import re
from collections.abc import Collection, Sequence, Set
from dataclasses import MISSING, fields
from functools import lru_cache
from itertools import accumulate
from operator import itemgetter
from typing import Literal, NamedTuple

from afterfill.errors import PayloadError
from afterfill.journal.block import BULK, inflated
from afterfill.journal.columns import unpacked
from afterfill.record_kinds import KIND_OF, TABLE
from afterfill.records import QUANTITIES, Quantity, Reading, Record, Tick
from afterfill.wire import TIME_KEYS, rfc3339_ms, to_line, to_published

# Time [Unix ms]; what it is; a reading's value, or why there is none, or a finding as JSON line.
What = Quantity | Literal["tick", "finding"]
Text = tuple[int, What, str | None, str | None]


def text_of(record: Record) -> Text:
    """Any record as text."""
    time_ms = round(record.time_s * 1000)
    if isinstance(record, Reading):
        value = None if record.value is None else repr(record.value)
        return time_ms, record.quantity, value, record.invalid
    if isinstance(record, Tick):
        return time_ms, "tick", None, None
    return time_ms, "finding", to_line(to_published(record)), None


# --- the usual form ------------------------------------------------------------------------------

_NUMBER = r"-?[0-9][0-9.e+-]*"
_QUANTILES = rf'\{{"q05":{_NUMBER},"q50":{_NUMBER},"q95":{_NUMBER}\}}'
_VALUE = rf"(?:{_NUMBER}|{_QUANTILES}|null|true|false)"
_TIME = r'(?:null|"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(?:\.\d{3})?Z")'
_HEAD = re.compile(
    r'\{"kinds":(\[[^]]*\]),[^]]*\],[^]]*\],[^]]*\],[^]]*\],"of":(\[[^]]*\]),"seq":\[[^]]*\],"time":\[-1,([0-9,-]+)\]\}'
)
_READINGS = re.compile(
    r'\{"kind":"reading","is":\{"quantity":"(orp|ph|temperature)"'
    rf'(?:,"value":({_NUMBER}))?(?:,"probe":"[^"\\]*")?\}}'
    r'(?:,"columns":\{"value":\[([1-4]),([0-9,-]+)\]\})?\}'
)
_QUANTITIES: dict[str, Quantity] = {quantity: quantity for quantity in QUANTITIES}
_TICK = '{"kind":"tick","is":{}}'


class _UnusualError(Exception):
    """Not of the usual form."""


class _Form(NamedTuple):
    """How a finding stands in a block: its body, and what is left out of it at the end."""

    line: re.Pattern[str]
    left_out: str


def _form_of(record_type: type[Record]) -> _Form:
    own = [field for field in fields(record_type) if field.name not in ("time_s", "tank")]
    keys = {field.name: TIME_KEYS.get(field.name, field.name) for field in own}
    body = ",".join(
        f'"{keys[f.name]}":{_TIME if f.name in TIME_KEYS else _VALUE}'
        for f in own
        if f.default is MISSING
    )
    rest = [f', "{keys[f.name]}": {json.dumps(f.default)}' for f in own if f.default is not MISSING]
    pattern = rf'\{{"kind":"{KIND_OF[record_type]}","is":\{{({body})\}}\}}'
    return _Form(re.compile(pattern), "".join(rest))


_FORMS = {
    kind.word: _form_of(kind.record_type)
    for kind in TABLE
    if kind.role == "finding" and kind.record_type in BULK
}


def usual_texts(tank: str, blob: bytes, kinds: Collection[str]) -> list[Text] | None:
    """Those of `kinds` in a block, in order of time and then of number; None when the block is not
    of the usual form, or `kinds` holds others than readings, ticks and findings."""
    try:
        head, *lines = inflated(blob)
    except PayloadError:
        return None
    found = _HEAD.fullmatch(head)
    if found is None:
        return None
    words, of, differences = found.groups()
    times = _times(differences)
    rows: list[Text | None] = [None] * len(times)
    try:
        for number, word, at in _wanted(words, of, frozenset(kinds)):
            what: What
            values: Sequence[str | None]
            if word == "reading":
                what, values = _readings(lines[number])
            else:
                what, values = _one(word, lines[number], times[at[0]], tank)
            for index, value in zip(at, values, strict=True):
                rows[index] = times[index], what, value, None
    except (_UnusualError, IndexError, ValueError):
        return None
    texts = [row for row in rows if row is not None]
    if "-" in differences:
        texts.sort(key=itemgetter(0))
    return texts


def _times(differences: str) -> list[int]:
    """Most rows are of the moment of the row before: that is looked for first."""
    times, now = [], 0
    for difference in differences.split(","):
        if difference != "0":
            now += int(difference)
        times.append(now)
    return times


@lru_cache(maxsize=256)
def _wanted(words: str, of: str, kinds: Set[str]) -> list[tuple[int, str, list[int]]]:
    """The series of `kinds`: number, kind, and which rows of the block are its own."""
    series = json.loads(words)
    places: list[list[int]] = [[] for _ in series]
    for index, number in enumerate(unpacked(json.loads(of))):
        places[number].append(index)
    return [(n, w, at) for n, (w, at) in enumerate(zip(series, places, strict=True)) if w in kinds]


def _one(word: str, line: str, time_ms: int, tank: str) -> tuple[What, Sequence[str | None]]:
    """A tick or a finding at `time_ms`, the only one of its series. Raises _UnusualError."""
    if line == _TICK:
        return "tick", [None]
    form = _FORMS.get(word)
    found = None if form is None else form.line.fullmatch(line)
    if form is None or found is None:
        raise _UnusualError
    # Each text in it is a key or a time, so that what commas and quotes are there for is known.
    body = found[1].replace(",", ", ").replace('":', '": ')
    begin = f'{{"kind": "{word}", "time": "{rfc3339_ms(time_ms)}", {_named(tank)}, '
    return "finding", [f"{begin}{body}{form.left_out}}}"]


@lru_cache(maxsize=64)
def _named(tank: str) -> str:
    return to_line({"tank": tank})[1:-1]


@lru_cache(maxsize=8192)  # in quiet, probes say the same again and again
def _readings(line: str) -> tuple[Quantity, Sequence[str]]:
    found = _READINGS.fullmatch(line)
    if found is None or (found[2] is None) == (found[3] is None):
        raise _UnusualError
    quantity, value, decimals, differences = found.groups()
    if value is not None:
        return _QUANTITIES[quantity], [value]
    scale = 10 ** int(decimals)
    units = accumulate(map(int, differences.split(",")))
    return _QUANTITIES[quantity], [repr(unit / scale) for unit in units]
