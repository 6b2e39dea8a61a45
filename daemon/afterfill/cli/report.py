"""`afterfill report`: a refill or a period on one page, from the journal."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, tzinfo
from pathlib import Path
from typing import Annotated, Any

import typer

from afterfill.cli.configured import loaded, one_tank, reading_journal
from afterfill.cli.console import tell
from afterfill.cli.options import Asked
from afterfill.cli.sheet import sheet_written
from afterfill.cli.times import period_from, present_s, time_from
from afterfill.cli.whole_file import whole_file
from afterfill.errors import RecordingError, UsageError
from afterfill.journal.store import Journal
from afterfill.report.event_picture import draw_event
from afterfill.report.gathered import (
    Gathered,
    answers,
    blind_spans,
    floors_mg_l,
    gathered,
    raised,
)
from afterfill.report.page import page
from afterfill.report.span import Span, span_of_refill
from afterfill.tank_table import TankTable, tank_table
from afterfill.wire import rfc3339, to_published

_LAST = "last"


@dataclass(frozen=True, slots=True)
class _Reported:
    """What the page at `file` is about, and the picture beside it."""

    found: Gathered
    span: Span
    file: Path
    picture: Path | None

    def words(self) -> Iterator[str]:
        """The verdict asked for; the page and `wire` hold those of all the time shown."""
        tank, refill_s = self.found.tank, self.span.refill_s
        verdicts = [v for v in answers(self.found) if refill_s in (None, v.refill_time_s)]
        for verdict in verdicts:
            state = "final" if verdict.final else "still watched"
            yield f"{tank}: {verdict.verdict} ({state}), probability {verdict.probability:.2g}"
        if not verdicts:
            yield f"{tank}: no verdict in this time"
        yield f"page     {self.file}"
        if self.picture is not None:
            yield f"picture  {self.picture}"

    def wire(self) -> dict[str, Any]:
        found, span = self.found, self.span
        floors = floors_mg_l(found.estimates)
        return {
            "kind": "report",
            "tank": found.tank,
            "from": rfc3339(span.from_s),
            "to": rfc3339(span.to_s),
            "refill": None if span.refill_s is None else rfc3339(span.refill_s),
            "file": str(self.file),
            "picture": None if self.picture is None else str(self.picture),
            "verdicts": [to_published(verdict) for verdict in answers(found)],
            "alarms": [to_published(alarm) for alarm in raised(found.alarms)],
            "blind": [
                {"from": rfc3339(s.from_s), "to": rfc3339(s.to_s), "why": s.why}
                for s in blind_spans(found.estimates)
            ],
            "detection_floor_mg_l": floors and {"low": floors[0], "high": floors[1]},
        }


def report(
    refill: Annotated[
        str | None,
        typer.Option(help="Which refill: last (the default), or about when it began."),
    ] = None,
    from_: Annotated[
        str | None, typer.Option("--from", help="A period instead: from this time on.")
    ] = None,
    to: Annotated[
        str | None, typer.Option("--to", help="Up to, but without, this time; default: now.")
    ] = None,
    out: Annotated[
        Path | None, typer.Option(help="The page to write; default: a name with tank and time.")
    ] = None,
    sheet: Annotated[
        bool, typer.Option("--sheet", help="Instead: a page to print for who looks in meanwhile.")
    ] = False,
    png: Annotated[
        bool, typer.Option("--png", help="Also a picture beside it (needs the plots extra).")
    ] = False,
    *,
    asked: Asked,
) -> None:
    """Write a page about a refill or a period: poured, seen, believed, alarms, what was done.

    One HTML file that needs no network and prints well; times are this machine's own. Times are
    written 2026-03-01T07:30:00Z, 07:30 (today), yesterday or '2 days ago'.
    """
    settings = loaded(asked.config)
    name, now_s = one_tank(settings, asked.tank), present_s()
    if sheet:
        if (refill, from_, to, png) != (None, None, None, False):
            raise UsageError("--sheet is about no refill or period: leave the other options out")
        sheet_written(settings, name, out, now_s, as_json=asked.as_json)
        return
    with reading_journal(settings.journal.path) as journal:
        span = _span(journal, name, refill, from_, to, now_s)
        found = gathered(journal, name, span.from_s, span.to_s)
        table = tank_table(settings, name)
        file = _page_written(found, table, span, out, now_s)
        picture = _picture(journal, name, span, table, file) if png else None
    reported = _Reported(found, span, file, picture)
    tell(reported.words(), reported.wire(), as_json=asked.as_json)


def _span(
    journal: Journal,
    tank: str,
    refill: str | None,
    from_: str | None,
    to: str | None,
    now_s: float,
) -> Span:
    if from_ is None and to is None:
        near_s = None if refill in (None, _LAST) else time_from(refill, now_s)
        return span_of_refill(journal, tank, near_s, now_s)
    if refill is not None:
        raise UsageError("--refill and --from/--to exclude each other: leave one out")
    if from_ is None:
        raise UsageError("--to without --from: say where the period begins with --from")
    return Span(*period_from(from_, to, now_s, (0.0, now_s)))


def _page_written(
    found: Gathered, table: TankTable, span: Span, out: Path | None, now_s: float
) -> Path:
    zone = _zone()
    file = out or Path(f"afterfill-{found.tank}-{_stamp(span, zone)}.html")
    text = page(found, table, zone=zone, refill_s=span.refill_s, made_s=now_s)
    with whole_file(file, RecordingError, "choose another with --out") as written:
        written.write(text)
    return file


def _zone() -> tzinfo | None:
    return datetime.now().astimezone().tzinfo


def _stamp(span: Span, zone: tzinfo | None) -> str:
    begun_s = span.from_s if span.refill_s is None else span.refill_s
    return f"{datetime.fromtimestamp(begun_s, zone):%Y-%m-%d-%H%M}"


def _picture(journal: Journal, tank: str, span: Span, table: TankTable, page: Path) -> Path:
    file = page.with_suffix(".png")
    draw_event(
        journal, tank, span.from_s, span.to_s, table.bounds.residual_oxidant_mg_l, file,
        zone=_zone(), in_fahrenheit=table.shown.fahrenheit,
    )  # fmt: skip
    return file
