"""The drawings of a report: what the probes saw, and what it means."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import tzinfo

from afterfill.chemistry.units import fahrenheit
from afterfill.figures import figure
from afterfill.records import Estimate, Quantity
from afterfill.report.chart import Band, Chart, Line, Point, drawn, nothing
from afterfill.report.gathered import Gathered, blind_spans
from afterfill.report.markup import Html
from afterfill.report.scale import Scale, scale_around
from afterfill.tank_table import TankTable

_CALLED: dict[Quantity, str] = {"orp": "ORP", "ph": "pH", "temperature": "Temperature"}
_UNIT: dict[Quantity, str] = {"orp": "mV", "ph": "", "temperature": "°C"}
_LEAST_SPAN: dict[Quantity, float] = {"orp": 20.0, "ph": 0.2, "temperature": 1.0}
_RESIDUAL = Scale(1e-3, 5.0, logarithmic=True)
_LIMIT, _BLIND = ("limit", "limit"), ("blind", "the ORP could not be used")
_BAND = ("band", "90 % interval")


def readings_chart(
    found: Gathered, quantity: Quantity, table: TankTable, zone: tzinfo | None
) -> Html:
    """What one kind of probe saw."""
    title = _CALLED[quantity]
    read = found.readings.get(quantity, [])
    warm = quantity == "temperature" and table.shown.fahrenheit
    as_shown = fahrenheit if warm else float
    unit = "°F" if warm else _UNIT[quantity]
    points = [(r.time_s, as_shown(r.value)) for r in read if r.value is not None]
    if not points:
        unusable = (
            f"None of its {len(read)} answers could be used." if read else "Nothing was read."
        )
        return nothing(title, unusable)
    values = [value for _, value in points]
    within = {"ph": table.bounds.ph, "temperature": table.bounds.temperature_c}.get(quantity, ())
    limits = [as_shown(limit) for limit in within]
    scale = scale_around(values, _LEAST_SPAN[quantity])
    shown = [limit for limit in limits if scale.low <= limit <= scale.high]
    chart = Chart(
        title, unit,
        f"{title} over time, from {min(values):.4g} to {max(values):.4g} {unit}",
        scale, found.from_s, found.to_s, zone,
        lines=[Line(points, gap_s=max(300.0, 4.0 * table.every_s.get(quantity, 60.0)))],
        limits=shown, marks_s=_marks_s(found), key=[_LIMIT] if shown else [],
    )  # fmt: skip
    return drawn(_with_blind(chart, found) if quantity == "orp" else chart)


def residual_chart(found: Gathered, table: TankTable, zone: tzinfo | None) -> Html:
    """What is believed of the disinfectant, against the limit."""
    title = "Disinfectant in the tank"
    if not found.estimates:
        return nothing(title, "Nothing was estimated in this time.")
    limit_mg_l, highest = (
        table.bounds.residual_oxidant_mg_l,
        max(e.residual_mg_l.q50 for e in found.estimates),
    )
    spread = [(e.time_s, e.residual_mg_l.q05, e.residual_mg_l.q95) for e in found.estimates]
    floors = [
        (e.time_s, e.detection_floor_mg_l)
        for e in found.estimates
        if e.detection_floor_mg_l is not None
    ]
    chart = Chart(
        title, "mg/L of total residual oxidant as Cl2; each line ten times the one below",
        f"Residual over time, its median at most {figure(highest)} mg/L, "
        f"the limit {limit_mg_l:.3g}",
        _RESIDUAL, found.from_s, found.to_s, zone,
        bands=[Band(spread)],
        lines=[
            Line([(e.time_s, e.residual_mg_l.q50) for e in found.estimates], gap_s=900.0),
            Line(floors, "floor", gap_s=900.0),
        ],
        limits=[limit_mg_l], marks_s=_marks_s(found),
        key=[("line", "median"), _BAND, (_LIMIT[0], f"limit {limit_mg_l:.3g} mg/L"),
             ("floor", "detection limit: less is not told from none")],
    )  # fmt: skip
    return drawn(_with_blind(chart, found))


def ammonia_chart(found: Gathered, table: TankTable, zone: tzinfo | None) -> Html:
    """What is believed of un-ionised ammonia, against its limit."""
    title = "Un-ionised ammonia"
    known = [(e.time_s, e.free_ammonia_mg_l) for e in found.estimates if e.free_ammonia_mg_l]
    if not known:
        return nothing(title, "Not known: it needs pH and temperature readings.")
    limit, top = table.bounds.free_ammonia_mg_l, max(q.q95 for _, q in known)
    chart = Chart(
        title, "mg/L of NH3 as N",
        f"Un-ionised ammonia over time, at most {figure(top)} mg/L, the limit {limit:.3g}",
        Scale(0.0, 1.1 * max(limit, top)), found.from_s, found.to_s, zone,
        bands=[Band([(t, q.q05, q.q95) for t, q in known])],
        lines=[Line([(t, q.q50) for t, q in known], gap_s=900.0)],
        limits=[limit], marks_s=_marks_s(found),
        key=[("line", "median"), _BAND, (_LIMIT[0], f"limit {limit:.3g} mg/L")],
    )  # fmt: skip
    return drawn(chart)


def _marks_s(found: Gathered) -> list[float]:
    times = {r.time_s for r in found.refills} | {v.refill_time_s for v in found.verdicts}
    return sorted(t for t in times if found.from_s <= t < found.to_s)


def _with_blind(chart: Chart, found: Gathered) -> Chart:
    spans: Sequence[Point] = [(s.from_s, s.to_s) for s in blind_spans(found.estimates)]
    return replace(chart, blind_s=spans, key=[*chart.key, _BLIND]) if spans else chart


def nearest_estimate(estimates: Sequence[Estimate], time_s: float) -> Estimate | None:
    """The last estimate before `time_s` [Unix s], if there is one."""
    before = [e for e in estimates if e.time_s <= time_s]
    return before[-1] if before else None
