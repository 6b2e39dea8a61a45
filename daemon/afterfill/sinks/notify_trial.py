"""Tries the ways to reach a person, and says in one sentence what is the matter with each."""

from collections.abc import Callable, Iterator
from functools import partial

from afterfill.config import Notify
from afterfill.errors import SinkUnavailable
from afterfill.sinks import heartbeat
from afterfill.sinks.notify_letter import Letter
from afterfill.sinks.notify_ways import posts_of


def ways_troubles(table: Notify, *, letter: Letter | None) -> Iterator[tuple[str, str | None]]:
    """For each recipient of `table` and for its heartbeat: what it is called, and what is the
    matter (None: nothing). Sends `letter`, or nothing at all when there is none."""
    try:
        posts = posts_of(table)
    except SinkUnavailable as error:
        yield "addresses", str(error)
        posts = []
    for post in posts:
        act = post.examine if letter is None else partial(post.send, letter)
        yield post.name, _trouble(act)
    if table.heartbeat_url_file is not None:
        file = table.heartbeat_url_file
        act = partial(heartbeat.examine if letter is None else heartbeat.send, file)
        yield f"heartbeat ({file.name})", _trouble(act)


def _trouble(act: Callable[[], None]) -> str | None:
    try:
        act()
    except SinkUnavailable as error:
        return str(error)
    return None
