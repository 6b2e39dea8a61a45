"""What the readings are worth: probes, sinks, threads, and what waits in the journal."""

from grafana_foundation_sdk.builders.dashboard import Dashboard
from grafana_foundation_sdk.cog.builder import Builder
from grafana_foundation_sdk.models.dashboard import Panel

from dashboards.palette import AGE, BLUE, GREY, ORANGE, SIGHT, UP, VERMILLION
from dashboards.parts import DASHED, DOTTED, MG_L, Curves, bands, column, hidden, rows
from dashboards.queries import (
    SHOWN,
    STEPS,
    TANK,
    by_component,
    course,
    held,
    invalid_share,
    new_errors,
    newest,
)
from dashboards.sheet import of_one_tank, row, sheet
from dashboards.tank import HEALTH_COLUMNS

_PROBES = '"component" =~ /^probe /'
_DAY = f"{TANK} AND time > now() - 1d"


def made() -> Dashboard:
    """The dashboard."""
    dashboard = sheet(
        "afterfill-probes",
        "Probes and delivery",
        "Whether probes answer, how often they give a reason instead of a value, and whether what "
        "was found gets out of the house.",
        "now-24h",
    )
    of_one_tank(dashboard)
    row(dashboard, "Who answers", [[_table()], _answers()])
    row(dashboard, "What the readings are worth", [[_shares(), _errors()], [_count()], _sight()])
    row(dashboard, "What waits", [[_waiting(), _size()]])
    return dashboard


def _table() -> Builder[Panel]:
    return rows(
        "Probes, sinks and threads",
        "The newest word of each within a day; look at when it was told. Threads appear once "
        "they had to be started again.",
        newest("health", "up", "age_s", "errors", "detail", where=_DAY, by='"component"'),
        [*HEALTH_COLUMNS, hidden("name")],
        (24, 8),
    )


def _answers() -> list[Builder[Panel]]:
    return [
        bands(
            "Up or down",
            "A probe is up while its last value is younger than five of its intervals. A gap: "
            "nothing was told.",
            by_component("up"),
            UP,
            "component",
            (12, 8),
            interval="10m",
        ),
        bands(
            "Age of each probe's last value",
            "Fresh: under 2 minutes. Late: under 10. Silent: longer.",
            by_component("age_s", _PROBES),
            AGE,
            "component",
            (12, 8),
            interval="10m",
            unit="s",
        ),
    ]


def _shares() -> Builder[Panel]:
    made = Curves(
        "Readings without a value",
        "The share that carries a reason (no answer, garbled, out of range) instead of a value.",
        "percentunit",
        1,
    )
    made.panel.min(0.0)
    looks = {"orp": (BLUE, None), "ph": (ORANGE, DASHED), "temperature": (VERMILLION, DOTTED)}
    return made.curves_by("quantity", invalid_share(), looks).sized(12, 8)


def _errors() -> Builder[Panel]:
    made = Curves("New errors", "Of all probes, sinks and threads together.", "none", 0)
    made.panel.min(0.0)
    return made.bars("errors", new_errors("time($__interval) fill(none)"), ORANGE).sized(12, 8)


def _count() -> Builder[Panel]:
    return rows(
        "Errors in the time shown",
        "By probe, sink and thread; a restart begins to count at nothing.",
        new_errors('"component"'),
        [column("component"), column("errors", unit="none", decimals=0), hidden("Time")],
        (24, 6),
    )


def _sight() -> list[Builder[Panel]]:
    floor = Curves(
        "Detection floor",
        "The smallest residual that would be called with 95 % power, mg/L as Cl2. It rises when a "
        "probe grows noisy or dull.",
        MG_L,
        2,
    )
    query = course("estimate", "detection_floor_mg_l", "detection floor")
    return [
        bands(
            "Could the ORP be used?",
            "The reason stands below.",
            held("estimate", "sees", "ORP"),
            SIGHT,
            "",
            (12, 5),
            interval="10m",
        ),
        floor.curve("detection floor", query, BLUE).sized(12, 5),
        bands(
            "Why the tank could not be judged",
            "The reason that was given; empty while it was safe as far as seen.",
            held("estimate", "why", "why"),
            [],
            "",
            (24, 4),
            interval="10m",
        ),
    ]


def _of_journal(field: str) -> str:
    return f'SELECT max("{field}") AS "{field}" FROM "journal" WHERE {SHOWN} {STEPS} fill(none)'


def _waiting() -> Builder[Panel]:
    made = Curves(
        "Entries that wait for the database",
        "Told each five minutes while the database takes anything. It falls after an outage.",
        "none",
        0,
    )
    made.panel.min(0.0)
    return made.curve("waiting", _of_journal("waiting"), BLUE).sized(12, 7)


def _size() -> Builder[Panel]:
    made = Curves("The journal's size", "`[journal] max_mb` bounds it.", "decmbytes", 1)
    made.panel.min(0.0)
    return made.curve("size_mb", _of_journal("size_mb"), GREY).sized(12, 7)
