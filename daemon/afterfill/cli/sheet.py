"""`afterfill report --sheet`: the page for who looks in meanwhile."""

from datetime import datetime
from pathlib import Path

from afterfill.cli.configured import reading_journal
from afterfill.cli.console import tell
from afterfill.cli.whole_file import whole_file
from afterfill.config import Config
from afterfill.errors import RecordingError
from afterfill.records import Quantity
from afterfill.report.samples import readings_each
from afterfill.report.sheet import sheet
from afterfill.report.words import moments
from afterfill.tank_setup import tank_setup
from afterfill.tank_table import bottle_of

_WEEK_S, _EVERY_S = 7 * 86_400.0, 3600.0


def sheet_written(
    config: Config, tank: str, out: Path | None, now_s: float, *, as_json: bool
) -> None:
    """Raises RecordingError when the file cannot be written, JournalError when the journal cannot
    be read; a tank whose service has not run yet has no readings."""
    file, neutraliser = out or Path(f"afterfill-{tank}-sheet.html"), config.neutraliser_of(tank)
    name = config.neutraliser_name_of(tank) or ""
    bottle = None if neutraliser is None else bottle_of(neutraliser, name)
    made = moments(datetime.now().astimezone().tzinfo)(now_s)
    text = sheet(tank_setup(config, tank), bottle, _week(config.journal.path, tank, now_s), made)
    with whole_file(file, RecordingError, "choose another with --out") as written:
        written.write(text)
    tell([f"sheet    {file}"], {"kind": "sheet", "tank": tank, "file": str(file)}, as_json=as_json)


def _week(path: Path, tank: str, now_s: float) -> dict[Quantity, list[float]]:
    if not path.exists():
        return {}
    with reading_journal(path) as journal:
        return readings_each(journal, tank, now_s - _WEEK_S, now_s, _EVERY_S)
