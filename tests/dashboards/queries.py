"""The questions, in InfluxQL. `$tank`, `$timeFilter`, `$__interval` and `${__from}` are filled in
by the dashboard.

What is shown as "now" asks for the last quarter of an hour: the slowest probe is read each five
minutes, and an older figure must not look like a live one.
"""

TANK = "\"tank\" = '$tank'"
NOW = "time > now() - 15m AND time <= now()"
AHEAD = "time > now() - 45m AND time <= now()"  # the day to come is told each half hour
LATELY = "time > now() - 2d AND time <= now()"  # what is told when it changes, and daily
SHOWN = "$timeFilter"
STEPS = "GROUP BY time($__interval)"
TANKS = 'SHOW TAG VALUES FROM "reading" WITH KEY = "tank"'


def newest(measurement: str, *fields: str, where: str = f"{TANK} AND {NOW}", by: str = "") -> str:
    """The newest value of the first field, with what else the same point says."""
    first, *others = fields
    asked = ", ".join([f'last("{first}") AS "{first}"', *(f'"{name}"' for name in others)])
    grouped = f" GROUP BY {by}" if by else ""
    return f'SELECT {asked} FROM "{measurement}" WHERE {where}{grouped}'


def seen(field: str) -> str:
    """A figure of the newest estimate, if that sees: an older one is not shown in its place."""
    newest_one = newest("estimate", "p_over_limit", field, "sees")
    return f'SELECT "{field}" FROM ({newest_one}) WHERE "sees" = true'


def outlook(field: str) -> str:
    """A figure of the newest forecast, empty when that one does not have it: every forecast says
    its hours, so the newest point is the one asked."""
    return newest("forecast", "hours", field, where=f"{TANK} AND {AHEAD}")


def listed(measurement: str, *fields: str, limit: int = 100) -> str:
    """The points in the time shown, the newest first."""
    asked = ", ".join(f'"{name}"' for name in fields)
    return (
        f'SELECT {asked} FROM "{measurement}" WHERE {TANK} AND {SHOWN} '
        f"ORDER BY time DESC LIMIT {limit}"
    )


def course(measurement: str, field: str, name: str, pick: str = "mean", where: str = "") -> str:
    """A field over the time shown."""
    also = f" AND {where}" if where else ""
    return (
        f'SELECT {pick}("{field}") AS "{name}" FROM "{measurement}" '
        f"WHERE {TANK}{also} AND {SHOWN} {STEPS} fill(none)"
    )


def held(measurement: str, field: str, name: str) -> str:
    """A word over the time shown; a step without it is a gap, so that no word outlives itself."""
    return (
        f'SELECT last("{field}") AS "{name}" FROM "{measurement}" '
        f"WHERE {TANK} AND {SHOWN} {STEPS} fill(null)"
    )


def limit(field: str, name: str) -> str:
    """A limit as a level line. It is told each day, so the line begins two days early."""
    return (
        f'SELECT last("{field}") AS "{name}" FROM "limit" WHERE {TANK} '
        f"AND time >= ${{__from}}ms - 2d AND time <= ${{__to}}ms {STEPS} fill(previous)"
    )


def reading(quantity: str, name: str) -> str:
    """A probe's values over the time shown."""
    return course("reading", "value", name, where=f"\"quantity\" = '{quantity}'")


def standing(where: str = "") -> str:
    """How each tank stands: 0 silent, 1 safe as far as seen, 2 cannot tell, 3 not safe, 4 learning.

    The language knows no "if": each word is a question of its own, and the highest answer counts.
    A tank that told anything in 30 days answers 0, so that a silent one stays in the list.
    """
    tank = f"{where} AND " if where else ""
    known = (
        'SELECT last("p_over_limit") * 0 AS "code" FROM "estimate" '
        f'WHERE {tank}time > now() - 30d AND time <= now() GROUP BY "tank"'
    )
    said = [_said(word, code, tank) for code, word in enumerate(_WORDS, start=1)]
    every = ", ".join(f"({question})" for question in (known, *said))
    return f'SELECT max("code") AS "standing" FROM {every} GROUP BY "tank"'


_WORDS = ("safe", "cannot-tell", "not-safe", "learning")


def _said(word: str, code: int, tank: str) -> str:
    newest_word = (
        'SELECT last("standing") AS "word", "p_over_limit" AS "p" FROM "estimate" '
        f'WHERE {tank}{NOW} GROUP BY "tank"'
    )
    return (
        f'SELECT last("p") * 0 + {code} AS "code" FROM ({newest_word}) '
        f'WHERE "word" = \'{word}\' GROUP BY "tank"'
    )


def asking(where: str, by: str) -> str:
    """Alarms whose newest state is not normal, or that cannot be judged."""
    states = (
        'SELECT last("state") AS "state", "active", "known", "first_out" FROM "alarm" '
        f"WHERE {where} GROUP BY {by}"
    )
    return (
        f'SELECT "state", "active", "known", "first_out" FROM ({states}) '
        f'WHERE "state" != \'normal\' OR "known" = false GROUP BY {by}'
    )


def invalid_share() -> str:
    """Share of the readings that carry a reason instead of a value, by quantity. Filled with 0,
    since a step in which no reading at all has a value would otherwise say nothing."""
    counted = (
        'SELECT count("value") AS "values", count("valid") AS "all" FROM "reading" '
        f'WHERE {TANK} AND {SHOWN} {STEPS}, "quantity" fill(0)'
    )
    return (
        f'SELECT 1 - "values" / "all" AS "share" FROM ({counted}) '
        f'WHERE "all" > 0 AND {SHOWN} GROUP BY "quantity"'
    )


def new_errors(by: str) -> str:
    """Errors that were new in the time shown; a restart begins to count at nothing."""
    steps = (
        'SELECT non_negative_difference("errors") AS "new" FROM "health" '
        f'WHERE {TANK} AND {SHOWN} GROUP BY "component"'
    )
    return f'SELECT sum("new") AS "errors" FROM ({steps}) WHERE {SHOWN} GROUP BY {by}'


def by_component(field: str, where: str = "") -> str:
    """A field of health for each probe, sink and thread; a step in which none was told is a gap."""
    also = f" AND {where}" if where else ""
    return (
        f'SELECT last("{field}") AS "{field}" FROM "health" '
        f'WHERE {TANK}{also} AND {SHOWN} {STEPS}, "component" fill(null)'
    )
