"""Journal entries as points of a time-series database (line protocol, nanosecond UTC).

Every point has the tags `tank` and `host`, but for `journal`, which belongs to no tank. Verdicts,
refills and alarm changes may share an instant, and equal measurement, tags and time overwrite each
other: their time carries the entry's number, modulo 1000, in its nanoseconds. Sending an entry
again still writes the same point.
"""

from collections.abc import Mapping

from afterfill.journal.store import Entry
from afterfill.record_kinds import words_of
from afterfill.records import (
    AlarmChange,
    AlarmLoad,
    Estimate,
    Forecast,
    Health,
    Quantiles,
    Reading,
    RefillSeen,
    Standing,
    Verdict,
)
from afterfill.sinks.influx.line_protocol import FieldValue, line
from afterfill.wire import rfc3339

KINDS = words_of(lambda kind: kind.database)
_EVENT_LIKE = (RefillSeen, Verdict, AlarmChange, Standing)
_Fields = dict[str, FieldValue]
_Point = tuple[str, dict[str, str], _Fields]


def line_of(entry: Entry, host: str, standing: Standing | None = None) -> str | None:
    """The line of an entry; None when it is of no interest to the database or says nothing.
    An estimate also says how the tank stood then, if that is known (`standing`)."""
    found = _point(entry)
    if found is None:
        return None
    measurement, tags, fields = found
    if standing is not None and isinstance(entry.record, Estimate):
        fields |= _word(standing)
    nanoseconds = round(entry.record.time_s * 1000) * 1_000_000
    if isinstance(entry.record, _EVENT_LIKE):
        nanoseconds += entry.seq % 1000
    return line(measurement, {"tank": entry.record.tank, "host": host, **tags}, fields, nanoseconds)


def limit_lines(limits: Mapping[str, Mapping[str, float]], host: str, time_s: float) -> list[str]:
    """Each tank's limits at `time_s` [Unix s], so that a dashboard need not type them."""
    nanoseconds = round(time_s * 1000) * 1_000_000
    points = [line("limit", {"tank": t, "host": host}, f, nanoseconds) for t, f in limits.items()]
    return [point for point in points if point is not None]


def journal_line(waiting: int, size_bytes: int, host: str, time_s: float) -> str | None:
    """How many entries wait for the database at `time_s` [Unix s], and the journal's size."""
    fields: _Fields = {"waiting": waiting, "size_mb": size_bytes / 1e6}
    return line("journal", {"host": host}, fields, round(time_s * 1000) * 1_000_000)


def _point(entry: Entry) -> _Point | None:
    match entry.record:
        case Reading() as reading:
            return (
                "reading",
                {"quantity": reading.quantity, "probe": reading.probe},
                _reading(reading),
            )
        case Estimate() as estimate:
            return "estimate", {}, _estimate(estimate)
        case Forecast() as forecast:
            return "forecast", {}, _forecast(forecast)
        case RefillSeen() as refill:
            return "refill", {}, {"origin": refill.origin, **_spread("fraction", refill.fraction)}
        case Verdict() as verdict:
            return "verdict", {}, _verdict(verdict)
        case AlarmChange() as alarm:
            fields: _Fields = {
                "state": alarm.state,
                "active": alarm.active,
                "known": alarm.known,
                "first_out": alarm.first_out,
            }
            return "alarm", {"alarm": alarm.alarm, "priority": alarm.priority}, fields
        case Standing() as stands:
            return "standing", {}, _standing(stands)
        case Health() as health:
            return "health", {"component": health.component}, _health(health)
        case AlarmLoad() as load:
            return "alarm_load", {}, _load(load)
        case _:
            return None


def _reading(reading: Reading) -> _Fields:
    value = None if reading.value is None else float(reading.value)
    return {"value": value, "valid": reading.value is not None}


def _estimate(estimate: Estimate) -> _Fields:
    return {
        **_spread("residual_mg_l", estimate.residual_mg_l),
        **_spread("free_chlorine_mg_l", estimate.free_chlorine_mg_l),
        **_spread("combined_chlorine_mg_l", estimate.combined_chlorine_mg_l),
        **_spread("total_ammonia_mg_l", estimate.total_ammonia_mg_l),
        **_spread("free_ammonia_mg_l", estimate.free_ammonia_mg_l),
        "p_over_limit": float(estimate.p_over_limit),
        "detection_floor_mg_l": _float(estimate.detection_floor_mg_l),
        "sees": estimate.sees,
        "why_blind": estimate.why_blind,
    }


def _forecast(forecast: Forecast) -> _Fields:
    """Times as seconds from then, so that they can be drawn; absent when not within the hours."""
    return {
        "hours": float(forecast.hours),
        "residual_below_limit_in_s": _from(forecast.time_s, forecast.residual_below_limit_s),
        "residual_surely_below_limit_in_s": _from(
            forecast.time_s, forecast.residual_surely_below_limit_s
        ),
        "free_ammonia_peak_in_s": _from(forecast.time_s, forecast.free_ammonia_peak_s),
        **_spread("free_ammonia_peak_mg_l", forecast.free_ammonia_peak_mg_l),
        "sees": forecast.sees,
    }


def _from(begin_s: float, then_s: float | None) -> float | None:
    return None if then_s is None else round(then_s - begin_s, 3)


def _verdict(verdict: Verdict) -> _Fields:
    return {
        "verdict": verdict.verdict,
        "probability": float(verdict.probability),
        **_spread("peak_residual_mg_l", verdict.peak_residual_mg_l),
        "final": verdict.final,
        "refill_time": rfc3339(verdict.refill_time_s),
    }


def _word(standing: Standing) -> _Fields:
    return {
        "standing": standing.standing,
        "why": standing.why or None,
        "since": rfc3339(standing.since_s),
    }


def _standing(standing: Standing) -> _Fields:
    return {
        **_word(standing),
        "sees": standing.sees,
        "detection_floor_mg_l": _float(standing.detection_floor_mg_l),
    }


def _health(health: Health) -> _Fields:
    return {
        "up": health.up,
        "age_s": _float(health.age_s),
        "errors": health.errors,
        "detail": health.detail or None,
    }


def _load(load: AlarmLoad) -> _Fields:
    return {
        "days": float(load.days),
        "raised": load.raised,
        "high": load.high,
        "medium": load.medium,
        "low": load.low,
        "peak_ten_minutes": load.peak_ten_minutes,
        "standing": load.standing,
        "chattering": load.chattering,
        "stale": load.stale,
    }


def _float(value: float | None) -> float | None:
    return None if value is None else float(value)


def _spread(name: str, quantiles: Quantiles | None) -> _Fields:
    """``residual_mg_l`` -> ``residual_q05_mg_l`` and so on."""
    if quantiles is None:
        return {}
    stem, unit = (name.removesuffix("_mg_l"), "_mg_l") if name.endswith("_mg_l") else (name, "")
    values = zip(("q05", "q50", "q95"), quantiles, strict=True)
    return {f"{stem}_{q}{unit}": float(value) for q, value in values}
