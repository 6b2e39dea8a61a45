"""`afterfill report`: a refill or a period on one page, from the journal."""

import os
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from afterfill.cli.options import (
    ConfigOption,
    JsonOption,
    TankOption,
    loaded,
    one_tank,
    reading_journal,
)
from afterfill.errors import RecordingError, UsageError

if TYPE_CHECKING:
    from datetime import tzinfo

    from afterfill.config import Config
    from afterfill.journal.store import Journal
    from afterfill.report.charts import Limits
    from afterfill.report.gathered import Gathered
    from afterfill.report.span import Span

_LAST = "last"


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
    png: Annotated[
        bool, typer.Option("--png", help="Also a picture beside it (needs the plots extra).")
    ] = False,
    tank: TankOption = None,
    config: ConfigOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write a page about a refill or a period: poured, seen, believed, alarms, what was done.

    One HTML file that needs no network and prints well; times are this machine's own. Times are
    written 2026-03-01T07:30:00Z, 07:30 (today) or '20 min ago'.
    """
    from afterfill.cli.times import present_s
    from afterfill.report.gathered import gathered

    settings, journal_path = loaded(config)
    name, now_s = one_tank(settings, tank), present_s()
    with reading_journal(journal_path) as journal:
        span = _span(journal, name, refill, from_, to, now_s)
        found = gathered(journal, name, span.from_s, span.to_s)
        file = _page_written(settings, found, span, out, now_s)
        picture = _picture(settings, journal, span, name, file) if png else None
    _say(found, span, file, picture, as_json)


def _span(
    journal: "Journal",
    tank: str,
    refill: str | None,
    from_: str | None,
    to: str | None,
    now_s: float,
) -> "Span":
    from afterfill.cli.times import time_from
    from afterfill.report.span import Span, span_of_refill

    if from_ is None and to is None:
        near_s = None if refill in (None, _LAST) else time_from(refill, now_s)
        return span_of_refill(journal, tank, near_s, now_s)
    if refill is not None:
        raise UsageError("--refill and --from/--to exclude each other: leave one out")
    if from_ is None:
        raise UsageError("--to without --from: say where the period begins with --from")
    begin_s, end_s = time_from(from_, now_s), now_s if to is None else time_from(to, now_s)
    if begin_s >= end_s:
        raise UsageError(f"--from {from_} does not lie before --to {to or 'now'}: swap them")
    return Span(begin_s, end_s)


def _page_written(
    settings: "Config", found: "Gathered", span: "Span", out: Path | None, now_s: float
) -> Path:
    from afterfill.report.page import page

    zone = _zone()
    file = out or Path(f"afterfill-{found.tank}-{_stamp(span, zone)}.html")
    text = page(
        found, _limits(settings, found.tank), zone=zone, refill_s=span.refill_s, made_s=now_s
    )
    partial = file.with_name(f"{file.name}.partial")
    try:
        partial.write_text(text, encoding="utf-8")
        os.replace(partial, file)
    except OSError as error:
        raise RecordingError(
            f"{file}: cannot be written ({error}); choose another with --out"
        ) from error
    return file


def _zone() -> "tzinfo | None":
    from datetime import datetime

    return datetime.now().astimezone().tzinfo


def _stamp(span: "Span", zone: "tzinfo | None") -> str:
    from datetime import datetime

    begun_s = span.from_s if span.refill_s is None else span.refill_s
    return f"{datetime.fromtimestamp(begun_s, zone):%Y-%m-%d-%H%M}"


def _limits(settings: "Config", tank: str) -> "Limits":
    from afterfill.report.charts import Limits
    from afterfill.tank_setup import tank_setup

    setup = tank_setup(settings, tank)
    return Limits(
        setup.inference.limit_mg_l, setup.free_ammonia_limit_mg_l, setup.ph_limits,
        setup.temperature_limits_c, setup.every_s,
    )  # fmt: skip


def _picture(settings: "Config", journal: "Journal", span: "Span", tank: str, page: Path) -> Path:
    from afterfill.report.event_picture import draw_event

    file = page.with_suffix(".png")
    limit_mg_l = _limits(settings, tank).residual_mg_l
    draw_event(journal, tank, span.from_s, span.to_s, limit_mg_l, file, zone=_zone())
    return file


def _say(found: "Gathered", span: "Span", file: Path, picture: Path | None, as_json: bool) -> None:
    from afterfill.cli.console import say, say_json
    from afterfill.report.gathered import answers

    verdicts = [
        v for v in answers(found) if span.refill_s is None or v.refill_time_s == span.refill_s
    ]
    if as_json:
        say_json(_wire(found, span, file, picture))
        return
    for verdict in verdicts:
        state = "final" if verdict.final else "still watched"
        say(f"{found.tank}: {verdict.verdict} ({state}), probability {verdict.probability:.2g}")
    if not verdicts:
        say(f"{found.tank}: no verdict in this time")
    say(f"page     {file}")
    if picture is not None:
        say(f"picture  {picture}")


def _wire(found: "Gathered", span: "Span", file: Path, picture: Path | None) -> dict[str, Any]:
    from afterfill.report.gathered import answers, blind_spans, floors_mg_l, raised
    from afterfill.wire import rfc3339, to_published

    floors = floors_mg_l(found.estimates)
    return {
        "kind": "report",
        "tank": found.tank,
        "from": rfc3339(span.from_s),
        "to": rfc3339(span.to_s),
        "refill": None if span.refill_s is None else rfc3339(span.refill_s),
        "file": str(file),
        "picture": None if picture is None else str(picture),
        "verdicts": [to_published(verdict) for verdict in answers(found)],
        "alarms": [to_published(alarm) for alarm in raised(found.alarms)],
        "blind": [
            {"from": rfc3339(s.from_s), "to": rfc3339(s.to_s), "why": s.why}
            for s in blind_spans(found.estimates)
        ],
        "detection_floor_mg_l": None if floors is None else {"low": floors[0], "high": floors[1]},
    }
