"""Journal entries as points of a time-series database (line protocol, nanosecond UTC).

Every point has the tags `tank` and `host`, but for `journal`, which belongs to no tank. Verdicts,
refills and alarm changes may share an instant, and equal measurement, tags and time overwrite each
other: their time carries the entry's number, modulo 1000, in its nanoseconds. Sending an entry
again still writes the same point.
"""

from collections.abc import Mapping
from dataclasses import fields
from functools import lru_cache
from typing import Any, get_args

from afterfill.journal.store import Entry
from afterfill.record_kinds import TABLE, words_of
from afterfill.records import (
    AlarmChange,
    Estimate,
    Forecast,
    Health,
    Quantiles,
    Reading,
    Record,
    RefillSeen,
    SourceBelieved,
    Standing,
    Verdict,
)
from afterfill.sinks.influx.line_protocol import FieldValue, line
from afterfill.wire import TIME_KEYS, rfc3339

KINDS = words_of(lambda kind: kind.database)
_MEASUREMENTS = {
    kind.record_type: kind.word.removesuffix("-seen").replace("-", "_")
    for kind in TABLE
    if kind.database
}
_TAGS: dict[type[Record], tuple[str, ...]] = {
    Reading: ("quantity", "probe"),
    AlarmChange: ("alarm", "priority"),
    Health: ("component",),
    SourceBelieved: ("source",),
}
_LEFT_OUT = {"time_s", "tank", "invalid", "raw", "message", "evidence"}
# Of each type the fields that are told, and which are floats: whole numbers may stand there too.
_TOLD = {
    record_type: [
        (field.name, float in (field.type, *get_args(field.type)))
        for field in fields(record_type)
        if field.name not in {*_LEFT_OUT, *_TAGS.get(record_type, ())}
    ]
    for record_type in _MEASUREMENTS
}
_EVENT_LIKE = (RefillSeen, Verdict, AlarmChange, Standing)
_Fields = dict[str, FieldValue]


def line_of(entry: Entry, host: str, standing: Standing | None = None) -> str | None:
    """The line of an entry; None when it is of no interest to the database or says nothing.
    An estimate also says how the tank stood then, if that is known (`standing`)."""
    record = entry.record
    measurement = _MEASUREMENTS.get(type(record))
    if measurement is None:
        return None
    told = _fields(record)
    if standing is not None and isinstance(record, Estimate):
        told |= _word(_fields(standing))
    nanoseconds = round(record.time_s * 1000) * 1_000_000
    if isinstance(record, _EVENT_LIKE):
        nanoseconds += entry.seq % 1000
    own = {name: getattr(record, name) for name in _TAGS.get(type(record), ())}
    return line(measurement, {"tank": record.tank, "host": host, **own}, told, nanoseconds)


def limit_lines(limits: Mapping[str, Mapping[str, float]], host: str, time_s: float) -> list[str]:
    """Each tank's limits at `time_s` [Unix s], so that a dashboard need not type them."""
    nanoseconds = round(time_s * 1000) * 1_000_000
    points = [line("limit", {"tank": t, "host": host}, f, nanoseconds) for t, f in limits.items()]
    return [point for point in points if point is not None]


def journal_line(waiting: int, size_bytes: int, host: str, time_s: float) -> str | None:
    """How many entries wait for the database at `time_s` [Unix s], and the journal's size."""
    fields: _Fields = {"waiting": waiting, "size_mb": size_bytes / 1e6}
    return line("journal", {"host": host}, fields, round(time_s * 1000) * 1_000_000)


def _fields(record: Record) -> _Fields:
    found: _Fields = {}
    for name, is_float in _TOLD[type(record)]:
        value = getattr(record, name)
        if isinstance(value, float) and name not in TIME_KEYS:  # most are
            found[name] = value
        elif value is not None:
            found |= _named(record, name, value, is_float)
    if isinstance(record, Reading):
        found["valid"] = record.value is not None
    return {**_word(found), **found} if isinstance(record, Standing) else found


def _word(standing: _Fields) -> _Fields:
    return {key: standing[key] for key in ("standing", "why", "since") if key in standing}


def _named(record: Record, name: str, value: Any, is_float: bool) -> _Fields:  # noqa: ANN401 - a field
    """A field, or three of quantiles. What is to come is told in seconds from then, so that it can
    be drawn, and what was learnt of a source as its age; absent where there is none."""
    if value == "" and name in ("why", "detail", "advice"):
        return {}
    if isinstance(value, Quantiles):
        return _spread(name, value)
    if name in TIME_KEYS:
        if isinstance(record, Forecast):
            return {f"{TIME_KEYS[name]}_in_s": round(value - record.time_s, 3)}
        if isinstance(record, SourceBelieved):
            return {f"{TIME_KEYS[name]}_age_s": round(record.time_s - value, 3)}
        return {TIME_KEYS[name]: rfc3339(value)}
    return {name: float(value) if is_float else value}


def _spread(name: str, quantiles: Quantiles) -> _Fields:
    """``residual_mg_l`` -> ``residual_q05_mg_l`` and so on."""
    return dict(zip(_spread_names(name), map(float, quantiles), strict=True))


@lru_cache(maxsize=256)
def _spread_names(name: str) -> tuple[str, ...]:
    stem, unit = (name.removesuffix("_mg_l"), "_mg_l") if name.endswith("_mg_l") else (name, "")
    return tuple(f"{stem}_{q}{unit}" for q in ("q05", "q50", "q95"))
