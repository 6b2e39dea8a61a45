"""The sinks that reach a person: a thread for each [[notify]] table, one more for its heartbeat."""

from pathlib import Path

from afterfill.config import Config
from afterfill.ports import Clock
from afterfill.sinks.notify.heartbeat import Heartbeat, fresh_within_s
from afterfill.sinks.notify.sink import NotifySink
from afterfill.tank_setup import tank_setup
from afterfill.tank_table import shown_in


def reaching(config: Config, journal_path: Path, clock: Clock) -> dict[str, NotifySink | Heartbeat]:
    """By the names under which health tells of them. Raises JournalError."""
    limits = {tank: tank_setup(config, tank).inference.limit_mg_l for tank in config.tank}
    shown = shown_in(config.units)
    url = None if config.page is None or config.page.url is None else config.page.url.rstrip("/")
    fresh_s = fresh_within_s(config.journal.commit_every_s)
    found: dict[str, NotifySink | Heartbeat] = {}
    for number, table in enumerate(config.notify, 1):
        if table.smtp is not None or table.url_file is not None:
            found[f"notify {number}"] = NotifySink(
                journal_path, table, clock.stamp, limits, shown=shown, page_url=url
            )
        if table.heartbeat_url_file is not None:
            every_s = 60.0 * table.heartbeat_minutes
            found[f"heartbeat {number}"] = Heartbeat(
                journal_path, table.heartbeat_url_file, every_s, clock.stamp, fresh_s=fresh_s
            )
    return found
