"""Says in advance when the journal will have to drop what a sink has not delivered."""

from afterfill.journal.store import Journal
from afterfill.wire import rfc3339

_SOON_DAYS = 60.0  # an absence of a season is planned; more is no news (our judgement)
_DAY_S = 86400.0


def outbox_warning(journal: Journal, cursor: str, max_mb: float, now_s: float) -> str:
    """One sentence with the date, or an empty one while that lies more than two months ahead.

    `max_mb`: the journal's bound [MB]; `now_s`: Unix time [s]. Raises JournalError.
    """
    days = journal.days_until_lost(cursor, max_mb)
    if days is None or days > _SOON_DAYS:
        return ""
    day = rfc3339(now_s + days * _DAY_S)[:10]
    return (
        f"if nothing is delivered before {day}, the journal ([journal] max_mb = {max_mb:g}) begins "
        "to drop what was not; bring the other side back, or raise max_mb"
    )
