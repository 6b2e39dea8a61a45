"""Whether the neutraliser will do for the next refill, and is within its time."""

from collections.abc import Iterator

from afterfill.cli.bottle import TO_LOG, bottle_by_journal
from afterfill.cli.check.finding import Finding, State
from afterfill.config import Config

_STATES: dict[bool | None, State] = {True: "fault", False: "ok", None: "unknown"}


def bottle_findings(config: Config) -> Iterator[Finding]:
    """One for each tank whose bottle is kept account of, by what was logged or is configured."""
    for tank in config.tank:
        bottle = bottle_by_journal(config, tank)
        if bottle is not None and bottle.is_kept:
            mend = f"; {TO_LOG}" if bottle.low is not False else ""
            yield Finding(f"tank {tank}", _STATES[bottle.low], f"{bottle.words()}{mend}")
