"""Tries a database once, and says in one sentence what is the matter."""

from afterfill.config import Influxdb
from afterfill.errors import SinkUnavailable
from afterfill.records import Stamp
from afterfill.sinks.influx.database import Database, PointsRefused
from afterfill.sinks.influx.line_protocol import line


def database_trouble(settings: Influxdb, stamp: Stamp, host: str) -> str | None:
    """Write one point (measurement `health`, component `check`); None when it was stored."""
    database = Database(settings)
    point = line(
        "health",
        {"host": host, "component": "check"},
        {"up": True},
        round(stamp.time_s * 1000) * 1_000_000,
    )
    try:
        database.write([point] if point else [])
    except (SinkUnavailable, PointsRefused) as error:
        return str(error)
    finally:
        database.close()
    return None
