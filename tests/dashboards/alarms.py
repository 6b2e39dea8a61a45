"""How much the alarms ask of a person."""

from grafana_foundation_sdk.builders.dashboard import Dashboard
from grafana_foundation_sdk.cog.builder import Builder
from grafana_foundation_sdk.models.dashboard import Panel

from dashboards.palette import BLUE, GREY, ORANGE, SKY, STATE, VERMILLION, YES
from dashboards.parts import (
    DASHED,
    DOTTED,
    Curves,
    bands,
    column,
    figure,
    hidden,
    rows,
    shares,
)
from dashboards.queries import SHOWN, STEPS, TANK, asking, course, listed, newest
from dashboards.sheet import of_one_tank, row, sheet
from dashboards.tank import ALARM_COLUMNS

_LATEST = f"{TANK} AND time > now() - 3h AND time <= now()"
_FIGURES = (
    ("Raised in a day", "raised", "Alarms that asked for a person, in the 24 hours before."),
    ("Worst ten minutes", "peak_ten_minutes", "The most that came within ten minutes that day."),
    ("Standing", "standing", "Alarms that hold."),
    ("Chattering", "chattering", "Alarms that came three times within a minute that day."),
    ("Stale", "stale", "Alarms that have held for more than a day."),
)


def made() -> Dashboard:
    """The dashboard."""
    dashboard = sheet(
        "afterfill-alarms",
        "What the alarms ask",
        "Few alarms that matter are answered, many are not. The figures are told each hour, over "
        "the day before.",
        "now-7d",
    )
    of_one_tank(dashboard)
    row(dashboard, "The last day", [[*_figures(), _by_priority()]])
    row(dashboard, "Which alarms", [[_now(), _often()], [_states()]])
    row(dashboard, "Over time", [[_raised(), _load()], [_changes()]])
    return dashboard


def _figures() -> list[Builder[Panel]]:
    return [
        figure(title, why, (field, newest("alarm_load", field, where=_LATEST)), "none", 0, (3, 5))
        for title, field, why in _FIGURES
    ]


def _by_priority() -> Builder[Panel]:
    asked = ", ".join(
        f'last("{name}") / last("raised") AS "{name}"' for name in ("high", "medium", "low")
    )
    return shares(
        "Share by priority",
        "Of the alarms raised in the day before. High should be the rarest.",
        f'SELECT {asked} FROM "alarm_load" WHERE {_LATEST}',
        (9, 5),
    )


def _now() -> Builder[Panel]:
    return rows(
        "Alarms that ask, or cannot be judged",
        "The newest state of each that is not normal or not known.",
        asking(TANK, '"alarm", "priority"'),
        ALARM_COLUMNS,
        (14, 8),
    )


def _often() -> Builder[Panel]:
    query = (
        f'SELECT count("active") AS "raised" FROM "alarm" WHERE {TANK} AND {SHOWN} '
        'AND "state" = \'unacknowledged\' GROUP BY "alarm", "priority"'
    )
    return rows(
        "How often each asked",
        "In the time shown.",
        query,
        [column("raised", unit="none", decimals=0), hidden("Time")],
        (10, 8),
    )


def _states() -> Builder[Panel]:
    query = (
        f'SELECT last("state") AS "state" FROM "alarm" WHERE {TANK} AND {SHOWN} '
        f'{STEPS}, "alarm" fill(none)'
    )
    why = "From its first change in the time shown on; before that see the table of changes."
    return bands("Each alarm's states", why, query, STATE, "alarm", (24, 9))


def _raised() -> Builder[Panel]:
    made = Curves("Raised in the day before, by priority", "Told each hour.", "none", 0)
    made.panel.min(0.0).insert_nulls(3 * 3_600_000.0)
    for name, colour, dash in (
        ("high", VERMILLION, None),
        ("medium", ORANGE, DASHED),
        ("low", GREY, DOTTED),
    ):
        made.curve(name, course("alarm_load", name, name, "max"), colour, dash)
    return made.sized(12, 8)


def _load() -> Builder[Panel]:
    made = Curves("Worst ten minutes, standing, stale", "Told each hour.", "none", 0)
    made.panel.min(0.0).insert_nulls(3 * 3_600_000.0)
    for field, name, colour, dash in (
        ("peak_ten_minutes", "worst ten minutes", BLUE, None),
        ("standing", "standing", ORANGE, DASHED),
        ("stale", "stale", SKY, DOTTED),
    ):
        made.curve(name, course("alarm_load", field, name, "max"), colour, dash)
    return made.sized(12, 8)


def _changes() -> Builder[Panel]:
    return rows(
        "Changes",
        "The newest first, in the words of ISA-18.2.",
        listed("alarm", "alarm", "priority", "state", "active", "known", "first_out", limit=200),
        [
            column("Time", "changed", unit="dateTimeAsIso"),
            column("state", said=STATE),
            column("active", "holds", said=YES),
            *[c for c in ALARM_COLUMNS if c[0] in ("known", "first_out")],
        ],
        (24, 9),
    )
