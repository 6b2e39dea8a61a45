"""`afterfill trends`: months side by side."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Annotated, Any

import typer

from afterfill.cli.configured import loaded, one_tank, reading_journal
from afterfill.cli.console import Line, Table, tell
from afterfill.cli.options import Asked
from afterfill.cli.times import past_from, present_s
from afterfill.records import Calibration, ResponseCheck
from afterfill.report.month_rows import POURED, PROBES, VERDICT_WORDS, MonthRows
from afterfill.report.trends import Month, months
from afterfill.tank_setup import tank_setup
from afterfill.tank_table import shown_in
from afterfill.wire import rfc3339, to_wire


def trends(
    count: Annotated[
        int, typer.Option("--months", min=1, max=120, help="How many, this one included.")
    ] = 12,
    to: Annotated[
        str | None, typer.Option(help="Up to the month of this time; default: now.")
    ] = None,
    *,
    asked: Asked,
) -> None:
    """Months side by side: refills and how they ended, how well the probe sees, what the tap held.

    A detection floor that rises, or mV per pH that move, are a probe that ages: clean it, then
    `afterfill probe response`. All is counted as far as it was told; the probe's figures are
    looked at four times a day.
    """
    settings = loaded(asked.config)
    name, zone = one_tank(settings, asked.tank), datetime.now().astimezone().tzinfo
    with reading_journal(settings.journal.path) as journal:
        found = months(journal, name, count, past_from(to, present_s(), "--to"), zone)
    shown = MonthRows(zone, shown_in(settings.units), tank_setup(settings, name).dose_unit)
    tell(_words(name, found, shown), _wire(name, found, shown), as_json=asked.as_json)


def _words(name: str, found: Sequence[Month], shown: MonthRows) -> Iterator[str | Line | Table]:
    yield f"{name}: what was poured, and how the refills ended"
    yield Table(POURED, [shown.poured(month) for month in found])
    yield ""
    yield "What the probes saw, what the tap held (as believed at the month's end)"
    yield Table(PROBES, [shown.probes(month) for month in found])


def _wire(name: str, found: Sequence[Month], shown: MonthRows) -> dict[str, Any]:
    return {
        "kind": "trends",
        "tank": name,
        "months": [{"month": shown.month(it), **_month_wire(it)} for it in found],
    }


def _month_wire(it: Month) -> dict[str, Any]:
    highest, tap = it.highest, it.tap_mg_l
    return {
        "from": rfc3339(it.from_s),
        "to": rfc3339(it.to_s),
        "refills": len(it.refills),
        "litres": round(it.litres, 2),
        "neutraliser_ml": round(it.neutraliser, 3),
        "verdicts": {word: it.count(word) for word in VERDICT_WORDS},
        "highest_residual_mg_l": None if highest is None else highest.peak_residual_mg_l._asdict(),
        "share_seen": it.saw,
        "detection_floor_mg_l": it.floor_mg_l,
        "ph_slope_mv": it.ph_slope_mv,
        "probe_works": [_work(work) for work in it.works],
        "source_residual_mg_l": None if tap is None else tap._asdict(),
        "neutraliser_left_ml": it.left,
        "high_alarms": it.high_alarms,
    }


def _work(work: Calibration | ResponseCheck) -> dict[str, Any]:
    wire = to_wire(work)
    return {
        key: wire.get(key) for key in ("kind", "time", "quantity", "slope", "offset", "step_mv")
    }
