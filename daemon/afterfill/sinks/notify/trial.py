"""Tries the ways to reach a person, and says in one sentence what is the matter with each."""

from collections.abc import Callable, Iterator
from functools import partial

from afterfill.config import Notify
from afterfill.errors import SinkUnavailable
from afterfill.sinks.notify import heartbeat
from afterfill.sinks.notify.channels import deliveries_of
from afterfill.sinks.notify.message import Message


def channel_troubles(table: Notify, *, message: Message | None) -> Iterator[tuple[str, str | None]]:
    """For each recipient of `table` and for its heartbeat: what it is called, and what is the
    matter (None: nothing). Sends `message`, or nothing at all when there is none."""
    try:
        deliveries = deliveries_of(table)
    except SinkUnavailable as error:
        yield "addresses", str(error)
        deliveries = []
    for delivery in deliveries:
        act = delivery.examine if message is None else partial(delivery.send, message)
        yield delivery.name, _trouble(act)
    if table.heartbeat_url_file is not None:
        file = table.heartbeat_url_file
        act = partial(heartbeat.examine if message is None else heartbeat.send, file)
        yield f"heartbeat ({file.name})", _trouble(act)


def _trouble(act: Callable[[], None]) -> str | None:
    try:
        act()
    except SinkUnavailable as error:
        return str(error)
    return None
