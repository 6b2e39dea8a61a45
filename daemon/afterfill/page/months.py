"""Months side by side. Worked out aside: it loads more than the page keeps."""

from datetime import datetime

from afterfill.journal.store import Journal
from afterfill.report.markup import Html, joined, table, tag
from afterfill.report.month_rows import POURED, PROBES, MonthRows
from afterfill.report.trends import months
from afterfill.tank_table import TankTable

_AGEING = (
    "A detection floor that rises, or mV per pH that move, are a probe that ages: clean it, then "
    "teach it again in two cups of water (afterfill probe response)."
)


def months_html(journal: Journal, tank: str, it: TankTable, now_s: float) -> Html:
    """A year, month by month. Raises JournalError."""
    zone = datetime.now().astimezone().tzinfo
    rows, found = MonthRows(zone, it.shown, it.dose_unit), months(journal, tank, 12, now_s, zone)
    lived = [month for month in reversed(found) if month.seen or month.refills]
    if not lived:
        return joined(tag("h1", f"{tank}: months"), tag("p", "Nothing was recorded in this year."))
    return joined(
        tag("h1", f"{tank}: months side by side"),
        tag("h2", "Poured, and how it ended"),
        table(POURED, [rows.poured(month) for month in lived]),
        tag("h2", "What the probes saw, what the tap held"),
        tag("p", _AGEING, class_="soft"),
        table(PROBES, [rows.probes(month) for month in lived]),
    )
