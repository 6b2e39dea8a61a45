"""Tries a broker or a database once, and says in one sentence what is the matter."""

import time

from afterfill.config import Influxdb, Mqtt
from afterfill.errors import SinkUnavailable
from afterfill.records import Stamp
from afterfill.sinks.database import Database, PointsRefused
from afterfill.sinks.line_protocol import line
from afterfill.sinks.mqtt_connection import Connected, Connection, Failed

# A client id of its own: a broker ends the older of two sessions that share one.
_CLIENT_ID = "afterfill-check"


def broker_trouble(settings: Mqtt, timeout_s: float = 5.0) -> str | None:
    """Connect to the broker within `timeout_s` [s]; None when it accepts us."""
    try:
        connection = Connection(settings, _CLIENT_ID)
    except SinkUnavailable as error:
        return str(error)
    connection.start()
    try:
        return _first_answer(connection, settings, time.monotonic() + timeout_s)
    finally:
        connection.stop()


def _first_answer(connection: Connection, settings: Mqtt, deadline_s: float) -> str | None:
    while (left_s := deadline_s - time.monotonic()) > 0:
        match connection.next(left_s):
            case Connected():
                return None
            case Failed(sentence):
                return sentence
    where = f"{settings.host}:{settings.port}"
    return f"the broker {where} does not answer in time; check [mqtt] host, port and tls"


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
