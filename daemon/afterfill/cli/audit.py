"""`afterfill audit`: what a tank's test kits say of its figures."""

from collections.abc import Iterator
from pathlib import Path
from typing import Annotated

import typer

from afterfill.audit.audit import Audit, FigureAudit, audited, e_words
from afterfill.audit.evidence import REJECTED
from afterfill.audit.reliability import Bin
from afterfill.cli.configured import loaded, one_tank, reading_journal, tanks
from afterfill.cli.console import Line, Table, tell
from afterfill.cli.options import ConfigOption, JsonOption, TankOption
from afterfill.cli.times import moment, present_s
from afterfill.cli.whole_file import whole_file
from afterfill.errors import RecordingError
from afterfill.journal.newest import newest
from afterfill.journal.store import Journal
from afterfill.journal.words import as_told, told_of
from afterfill.record_kinds import KIND_OF
from afterfill.records import Estimate, ForecastCheck
from afterfill.report.reliability_picture import reliability_picture

_FIGURES = ("figure", "said", "tests", "within its 5 to 95 %", "evidence against (e)")
_SAID = ("said: over the limit", "tests", "a test showed it", "which allows")


def audit(
    picture: Annotated[
        Path | None,
        typer.Option(help="Also draw the reliability figure into this SVG file."),
    ] = None,
    tank: TankOption = None,
    config: ConfigOption = None,
    as_json: JsonOption = False,
) -> None:
    """Have the figures of a tank earned trust, by the tests that you logged? All tanks if none
    is named.

    Each logged test of chlorine or ammonia answers what was said of that water before, at that
    moment and 1, 6 and 24 h ahead. The evidence against the figures (e) is valid however often you
    look: right figures reach 20 in one tank of twenty at most.
    """
    settings = loaded(config)
    names = tanks(settings, tank) if picture is None else [one_tank(settings, tank)]
    with reading_journal(settings.journal.path) as journal:
        found = [_audited(journal, name) for name in names]
    for each in found:
        if picture is not None:
            _draw(each, picture)
        tell(_words(each), each.wire(), as_json=as_json)


def _audited(journal: Journal, tank: str) -> Audit:
    records, after, told = list[ForecastCheck](), 0, told_of(journal, tank)
    while entries := journal.entries(after, kinds=(KIND_OF[ForecastCheck],), tank=tank):
        records += [it for it in as_told(entries, told) if isinstance(it, ForecastCheck)]
        after = entries[-1].seq
    now = newest(journal, Estimate, tank)
    return audited(tank, records, None if now is None else now.record)


def _words(found: Audit) -> Iterator[str | Line | Table]:
    yield Line(f"{found.tank}: {found.sentence()}", "red" if found.e >= REJECTED else None)
    answered = [figure for figure in (*found.figures, *found.ahead) if figure.tests]
    if answered:
        yield Table(_FIGURES, [_cells(figure) for figure in answered])
    if found.bins:
        yield Table(_SAID, [_bin_cells(each) for each in found.bins])
        yield f"  {_note(found)}"
    if found.next is not None:
        told = moment(found.next.time_s, present_s())
        yield f"  {found.next.sentence()} (by the estimate of {told})"


def _cells(figure: FigureAudit) -> tuple[str, ...]:
    said = f"{figure.lead_h:g} h ahead" if figure.lead_h else "then"
    inside = "" if figure.inside is None else f"{figure.inside} of {figure.tests}"
    fault = f": {figure.worst.replace('-', ' ')}" if figure.mean_e >= REJECTED else ""
    return figure.name, said, str(figure.tests), inside, f"{e_words(figure.mean_e)}{fault}"


def _bin_cells(each: Bin) -> tuple[str, ...]:
    allows = f"{each.low:.0%} to {each.high:.0%}" if each.tells else "too few to tell"
    return f"{each.said:.0%}", str(each.n), f"{each.came_true} of {each.n}", allows


def _note(found: Audit) -> str:
    if found.shown_from_mg_l is None:
        return "no test of chlorine has counted yet"
    sure = f"a test surely shows it from {found.shown_from_mg_l:.2g} mg/L on"
    return f"{sure}, so fewer may be shown than are so"


def _draw(found: Audit, file: Path) -> None:
    drawn = reliability_picture(found.tank, found.sentence(), _note(found), found.bins)
    with whole_file(file, RecordingError, "choose another with --picture") as written:
        written.write(drawn)
