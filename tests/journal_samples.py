"""Small records and stamps for the journal's tests."""

from afterfill.journal.store import Journal
from afterfill.records import Reading, Stamp

START_S = 1_772_350_200.0


def stamp_at(time_s: float) -> Stamp:
    """Accepted at `time_s` [Unix s] by a synchronised clock."""
    return Stamp(time_s, True, "boot", time_s - START_S)


def orp(time_s: float, tank: str = "window") -> Reading:
    """An ORP reading."""
    return Reading(time_s, tank, "orp", 312.5, "window-orp")


def fill(journal: Journal, count: int, start_s: float = START_S) -> None:
    """Append and commit `count` readings, one a second."""
    for number in range(count):
        journal.append(orp(start_s + number), stamp_at(start_s + number))
    journal.commit()
