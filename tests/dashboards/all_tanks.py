"""All tanks that write into the database, in one table."""

from grafana_foundation_sdk.builders.dashboard import Dashboard
from grafana_foundation_sdk.cog.builder import Builder
from grafana_foundation_sdk.models.dashboard import Panel

from dashboards.palette import SIGHT, STANDING, STANDING_CODE, VERDICT, YES
from dashboards.parts import MG_L, bands, column, hidden, rows
from dashboards.queries import NOW, asking, newest, standing
from dashboards.sheet import row, sheet
from dashboards.tank import ALARM_COLUMNS

_TANK = column("tank")


def made() -> Dashboard:
    """The dashboard."""
    dashboard = sheet(
        "afterfill-tanks",
        "All tanks",
        "Safe as far as the probes can see, not safe, or cannot tell: what is unknown is never "
        "shown as safe.",
        "now-24h",
    )
    row(dashboard, "Now", [[_words(), _alarms()], [_figures()]])
    row(dashboard, "Refills and the day", [[_verdicts(), _day()]])
    return dashboard


def _words() -> Builder[Panel]:
    return rows(
        "How each tank stands",
        "By its newest estimate, in the words of `afterfill now`. Silent: no estimate for a "
        "quarter of an hour. After 30 silent days a tank is no longer listed.",
        standing(),
        [_TANK, column("standing", "the tank is", said=STANDING_CODE), hidden("Time")],
        (9, 9),
    )


def _alarms() -> Builder[Panel]:
    return rows(
        "Alarms that ask, or cannot be judged",
        "Of all tanks, within a year. Those of the machine are told with its first tank.",
        asking("time > now() - 365d", '"tank", "alarm", "priority"'),
        [_TANK, *ALARM_COLUMNS],
        (15, 9),
    )


def _figures() -> Builder[Panel]:
    fields = (
        "standing", "why", "p_over_limit", "residual_q50_mg_l", "residual_q95_mg_l",
        "detection_floor_mg_l", "free_ammonia_q50_mg_l", "sees",
    )  # fmt: skip
    return rows(
        "The figures behind it",
        "Of the last quarter of an hour; a silent tank is absent here. Residual as Cl2, ammonia "
        "as N.",
        newest("estimate", *fields, where=NOW, by='"tank"'),
        [
            _TANK,
            column("standing", "the tank is", said=STANDING),
            column("why"),
            column("p_over_limit", "over the limit", unit="percentunit", decimals=0),
            column("residual_q50_mg_l", "residual, median", unit=MG_L, decimals=3),
            column("residual_q95_mg_l", "residual, 95 %", unit=MG_L, decimals=3),
            column("detection_floor_mg_l", "detection floor", unit=MG_L, decimals=2),
            column("free_ammonia_q50_mg_l", "NH3, median", unit=MG_L, decimals=4),
            column("sees", "the ORP", said=SIGHT),
            column("Time", "as of", unit="dateTimeAsIso"),
        ],
        (24, 8),
    )


def _verdicts() -> Builder[Panel]:
    return rows(
        "The last refill of each tank",
        "The newest verdict. possible and cannot-tell ask for a test.",
        newest("verdict", "verdict", "probability", "final", "refill_time",
               where="time > now() - 90d", by='"tank"'),
        [
            _TANK,
            column("verdict", said=VERDICT),
            column("probability", unit="percentunit", decimals=0),
            column("final", said=YES),
            column("refill_time", "refill of"),
            column("Time", "told", unit="dateTimeAsIso"),
        ],
        (12, 9),
    )  # fmt: skip


def _day() -> Builder[Panel]:
    query = (
        'SELECT last("standing") AS "standing" FROM "estimate" WHERE $timeFilter '
        'GROUP BY time($__interval), "tank" fill(null)'
    )
    why = "A gap: nothing was estimated for a quarter of an hour or more."
    return bands("How they stood", why, query, STANDING, "tank", (12, 9), interval="15m")
