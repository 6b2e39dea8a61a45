"""A tank at a glance: words first, then figures, then the last day."""

from grafana_foundation_sdk.builders.dashboard import Dashboard
from grafana_foundation_sdk.cog.builder import Builder
from grafana_foundation_sdk.models.dashboard import Panel
from grafana_foundation_sdk.models.units import PercentUnit

from dashboards import curves
from dashboards.palette import KNOWN, SIGHT, STANDING_CODE, STATE, UP, VERDICT, YES
from dashboards.parts import MG_L, column, figure, hidden, rows, word
from dashboards.queries import LATELY, TANK, asking, newest, outlook, seen, standing
from dashboards.sheet import marked, of_one_tank, row, sheet

_TALL, _LOW = 5, 4
ALARM_COLUMNS = [
    column("alarm"),
    column("priority"),
    column("state", said=STATE),
    column("active", "holds now", said=YES),
    column("known", "can be judged", said=KNOWN),
    column("first_out", "came first in its refill", said=YES),
    column("Time", "since", unit="dateTimeAsIso"),
]
HEALTH_COLUMNS = [
    column("component"),
    column("up", said=UP),
    column("age_s", "last success before", unit="s", decimals=0),
    column("errors", "errors since the start", unit="none", decimals=0),
    column("detail", "what is the matter"),
    column("Time", "told", unit="dateTimeAsIso"),
]


def made() -> Dashboard:
    """The dashboard."""
    dashboard = sheet(
        "afterfill-tank",
        "A tank at a glance",
        "How one tank stands now, and its last day. Nothing here is older than a quarter of an "
        "hour unless its time stands beside it.",
        "now-24h",
    )
    marked(of_one_tank(dashboard))
    row(dashboard, "Now", [_words(), _figures(), _to_come(), _tables()])
    row(dashboard, "The water that comes in", [[_sources()]])
    row(
        dashboard,
        "The time shown",
        [
            [curves.residual().sized(16, 9), curves.probability().sized(8, 9)],
            [curves.orp().sized(12, 7), curves.ammonia().sized(12, 7)],
            [curves.ph().sized(12, 7), curves.temperature().sized(12, 7)],
        ],
    )
    return dashboard


def _sources() -> Builder[Panel]:
    believed = newest(
        "source_belief", "residual_q50_mg_l", "residual_q05_mg_l", "residual_q95_mg_l",
        "disinfectant", "taught", "learnt_age_s", "breakthrough", "cartridge_share", "changed",
        where=f"{TANK} AND {LATELY}", by='"source"',
    )  # fmt: skip
    return rows(
        "Sources",
        "Total chlorine as it comes, mg/L as Cl2, as tests and refills have taught; told when it "
        "changes, and daily. No age: no test is known (`afterfill log source-test`).",
        believed,
        [
            column("source"),
            column("residual_q05_mg_l", "5 %", unit=MG_L, decimals=2),
            column("residual_q50_mg_l", "median", unit=MG_L, decimals=2),
            column("residual_q95_mg_l", "95 %", unit=MG_L, decimals=2),
            column("disinfectant"),
            column("taught", "tests and refills", unit="none", decimals=0),
            column("learnt_age_s", "age of the last, when told", unit="s", decimals=0),
            column("breakthrough", "raw water passes the filter", unit="percentunit", decimals=0),
            column("cartridge_share", "cartridge used", unit="percentunit", decimals=0),
            column("changed", "another water than believed", said=YES),
            column("Time", "told", unit="dateTimeAsIso"),
        ],
        (24, 5),
    )


def _words() -> list[Builder[Panel]]:
    verdict = newest("verdict", "verdict", where=TANK)
    return [
        word(
            "This tank",
            "In the words of `afterfill now`, as the service told last. Silent: no estimate for a "
            "quarter of an hour.",
            ("standing", standing(TANK)),
            STANDING_CODE,
            (7, _TALL),
        ),
        figure(
            "It stands so since",
            "UTC.",
            ("since", newest("estimate", "since")),
            "string",
            0,
            (5, _TALL),
        ),
        word(
            "Last refill",
            "The newest verdict. possible and cannot-tell ask for a test.",
            ("verdict", verdict),
            VERDICT,
            (4, _TALL),
        ),
        figure(
            "That refill was at",
            "Its time, UTC.",
            ("refill_time", newest("verdict", "refill_time", where=TANK)),
            "string",
            0,
            (4, _TALL),
        ),
        word(
            "The ORP",
            "BLIND is no all-clear: treat refills as unwatched, and test.",
            ("sees", newest("estimate", "sees")),
            SIGHT,
            (4, _TALL),
        ),
    ]


def _figures() -> list[Builder[Panel]]:
    return [
        figure(
            "Residual over the limit: how likely",
            "That it is over the tank's own limit now. No data while the ORP is blind.",
            ("p_over_limit", seen("p_over_limit")),
            PercentUnit,
            0,
            (6, _LOW),
        ),
        figure(
            "Residual, upper end",
            "mg/L as Cl2, free plus combined: one chance in twenty that it is higher. "
            "No data while the ORP is blind.",
            ("residual_q95_mg_l", seen("residual_q95_mg_l")),
            MG_L,
            3,
            (6, _LOW),
        ),
        figure(
            "Detection floor",
            "The smallest residual that would be called now with 95 % power, mg/L as Cl2.",
            ("detection_floor_mg_l", seen("detection_floor_mg_l")),
            MG_L,
            2,
            (6, _LOW),
        ),
        figure(
            "Un-ionised ammonia, median",
            "NH3, mg/L as N. Not known without pH and temperature.",
            ("free_ammonia_q50_mg_l", newest("estimate", "free_ammonia_q50_mg_l")),
            MG_L,
            4,
            (6, _LOW),
        ),
    ]


def _to_come() -> list[Builder[Panel]]:
    """From the newest forecast: nothing more poured, pH and temperature as they are."""
    figures = (
        ("Residual below its limit in", "residual_below_limit_in_s", "dtdurations", 0,
         "By the median; 0 when it is now. No data: not within a day, or blind."),
        ("Surely below its limit in", "residual_surely_below_limit_in_s", "dtdurations", 0,
         "By the 95 % point. No data: not within a day, or blind."),
        ("Highest un-ionised ammonia to come", "free_ammonia_peak_q50_mg_l", MG_L, 4,
         "NH3, mg/L as N, within a day, the median."),
        ("That peak is in", "free_ammonia_peak_in_s", "dtdurations", 0,
         "Feed less before it, and test."),
    )  # fmt: skip
    return [
        figure(title, why, (name, outlook(name)), unit, decimals, (6, _LOW))
        for title, name, unit, decimals, why in figures
    ]


def _tables() -> list[Builder[Panel]]:
    return [
        rows(
            "Alarms that ask, or cannot be judged",
            "The newest state of each that is not normal or not known. Empty: all are judged, and "
            "normal.",
            asking(TANK, '"alarm", "priority"'),
            ALARM_COLUMNS,
            (12, 7),
        ),
        rows(
            "Probes, sinks and threads",
            "Told each minute. What belongs to no tank is told with the first.",
            newest("health", "up", "age_s", "errors", "detail", by='"component"'),
            [*HEALTH_COLUMNS, hidden("name")],
            (12, 7),
        ),
    ]
