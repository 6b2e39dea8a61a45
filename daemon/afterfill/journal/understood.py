"""What a person or a hub says, understood and checked beside the configuration and the journal.

The command line, MQTT and whatever else hears people go through here, so that all take and refuse
the same.
"""

from collections.abc import Mapping
from typing import Any, NamedTuple

from afterfill.config import Config
from afterfill.errors import PayloadError
from afterfill.journal.store import Journal
from afterfill.journal.words import told_of
from afterfill.payloads import CORRECTION, corrected_number, correction_from, event_from
from afterfill.plausible import doubt, refuse_slips, with_amounts_read
from afterfill.records import Correction, Event
from afterfill.wire import rfc3339

TIME = "time"  # of a correction
SURE = "sure"  # the key that says: it is meant so


class Understood(NamedTuple):
    """An event, and what is strange in it, in one clause; empty where nothing is."""

    event: Event
    doubt: str


def understood(
    kind: str,
    payload: Mapping[str, Any],
    *,
    tank: str,
    config: Config,
    journal: Journal | None,
    time_s: float,
    dated: bool = False,
) -> Understood:
    """The event of `kind` that `payload` tells of `tank`, one of the configured, at `time_s` [s]
    (`dated`: a person named that time); `journal`: the one that it goes into, if there is one yet.

    Raises PayloadError with one sentence when it cannot be taken.
    """
    payload = with_amounts_read(payload, tank, config)
    if kind == CORRECTION:
        event: Event = _correction(payload, tank, journal, time_s)
    else:
        event = event_from(kind, payload, tank=tank, time_s=time_s)
    said = event.word if isinstance(event, Correction) else event
    if said is None:
        return Understood(event, "")
    refuse_slips(said, config)
    dated = dated or TIME in payload
    return Understood(event, doubt(said, config) or (_before(said, journal) if dated else ""))


def insisted(payload: Mapping[str, Any]) -> tuple[Mapping[str, Any], bool]:
    """The payload without the key SURE, and whether that says that it is meant so. Raises
    PayloadError when it is neither true nor false."""
    sure = payload.get(SURE, False)
    if not isinstance(sure, bool):
        raise PayloadError(f"key '{SURE}' is {sure!r}: write true or false")
    return {key: value for key, value in payload.items() if key != SURE}, sure


def _correction(
    payload: Mapping[str, Any], tank: str, journal: Journal | None, time_s: float
) -> Correction:
    number = corrected_number(payload)
    if journal is None:
        raise PayloadError("there is no journal yet, so nothing that could be corrected")
    told = told_of(journal, tank, number)
    refusal = told.refusal(number)
    if refusal is not None:
        raise PayloadError(refusal)
    if any(isinstance(it, Correction) and it.of == number for _, it, _ in journal.inbox()):
        raise PayloadError(
            f"a correction of entry {number} is on its way; look at `afterfill log list` again"
        )
    return correction_from(payload, told.said(number), time_s=time_s)


def _before(said: Event, journal: Journal | None) -> str:
    first = [] if journal is None else journal.entries(limit=1)
    if not first or said.time_s >= min(first[0].stamp.time_s, first[0].record.time_s):
        return ""
    begun, happened = rfc3339(first[0].stamp.time_s), rfc3339(said.time_s)
    return f"{happened} lies before the journal begins ({begun})"
