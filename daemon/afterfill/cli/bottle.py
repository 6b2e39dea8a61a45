"""What the journal knows of the bottle of neutraliser, for `plan` and `check`."""

from afterfill.cli.configured import reading_journal
from afterfill.cli.times import present_s
from afterfill.config import Config
from afterfill.errors import JournalError
from afterfill.journal.newest import newest
from afterfill.records import StockLeft
from afterfill.tank_bottle import BottleNow, bottle_now
from afterfill.tank_setup import tank_setup

TO_LOG = "buy or open one, and log it: `afterfill log stock`"


def bottle_by_journal(config: Config, tank: str) -> BottleNow | None:
    """The bottle now; None where the tank has no neutraliser, or which is not known. Without a
    journal nothing was counted."""
    stock = None
    try:
        with reading_journal(config.journal.path) as journal:
            known = newest(journal, StockLeft, tank)
            stock = None if known is None else known.record
    except JournalError:
        pass
    return bottle_now(tank_setup(config, tank), stock, present_s())
