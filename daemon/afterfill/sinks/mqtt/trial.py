"""Tries a broker once, and says in one sentence what is the matter."""

import time

from afterfill.config import Mqtt
from afterfill.errors import SinkUnavailable
from afterfill.sinks.mqtt.connection import Connected, Connection, Failed

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
