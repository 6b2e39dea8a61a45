"""A recording: a folder with what came in from one tank, written from a journal and read again.

`readings.csv` holds one row per time, `events.jsonl` what people said, as it was corrected (see the
two modules). `corrections.jsonl`, written where there were corrections, and not read again, holds
each with what had been said before. A reading's probe name and raw bytes are not part of it.
"""

import os
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from itertools import groupby
from operator import itemgetter
from pathlib import Path

from afterfill.errors import RecordingError
from afterfill.journal.block_text import Text
from afterfill.journal.recorded_events import Recorded, read_events, write_events
from afterfill.journal.recorded_readings import read_readings, sheet
from afterfill.journal.store import Journal
from afterfill.journal.words import between_as_told, told_of
from afterfill.record_kinds import words_of
from afterfill.records import EVENTS, Input, MachineState, Reading, StockLeft, Tick, known_since_s
from afterfill.told import Told
from afterfill.wire import to_line, to_wire

READINGS, EVENTS_FILE, FOUND = "readings.csv", "events.jsonl", "verdicts.jsonl"
CORRECTIONS = "corrections.jsonl"
_RECORDED = (*EVENTS, MachineState, StockLeft)
TEXT_KINDS = words_of(lambda kind: kind.recording == "readings" or kind.role == "finding")
_EVENT_KINDS = words_of(lambda kind: kind.recording == "events")


@dataclass(frozen=True, slots=True)
class Written:
    """What a recording holds: rows of readings, events, and findings."""

    rows: int
    events: int
    findings: int


def read_recording(
    folder: Path, tank: str, *, notice: Callable[[str], None] = lambda _text: None
) -> Iterator[Input]:
    """What came in, as `tank`'s, in the order in which the fold must see it.

    That is by the time it became known; at one instant events come before readings, and readings
    in the order temperature, pH, ORP. Readings are streamed. A missing `events.jsonl` means that
    there were no events. `notice` is told once of columns that are ignored.

    Raises RecordingError with the file, the line and how to mend it.
    """
    events = sorted(read_events(folder / EVENTS_FILE, tank), key=known_since_s)
    return _merged(events, read_readings(folder / READINGS, tank, notice))


def _merged(events: list[Recorded], readings: Iterator[Reading | Tick]) -> Iterator[Input]:
    position = 0
    for reading in readings:
        while position < len(events) and known_since_s(events[position]) <= reading.time_s:
            yield events[position]
            position += 1
        yield reading
    yield from events[position:]


def write_recording(
    journal: Journal, tank: str, from_s: float, to_s: float, folder: Path
) -> Written:
    """Write what happened to `tank` at times in [from_s, to_s) [Unix s] into `folder`.

    Besides what came in, `verdicts.jsonl` holds what was found live, in the form of a replay. An
    event belongs to the time at which it happened, also when it was logged later. Files that were
    there are replaced. Raises RecordingError when the folder cannot be written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        events = write_events(folder / EVENTS_FILE, _events(journal, tank, from_s, to_s))
        _write_corrections(folder / CORRECTIONS, told_of(journal, tank), from_s, to_s)
        texts = journal.texts_between(tank, from_s, to_s, kinds=TEXT_KINDS)
        rows, findings = _write_texts(texts, folder)
    except OSError as error:
        raise RecordingError(f"{folder}: cannot be written ({error}); choose another") from error
    return Written(rows, events, findings)


def _write_texts(texts: Iterable[Text], folder: Path) -> tuple[int, int]:
    """Readings and findings, in one pass; the number of rows and of findings."""
    found, findings = folder / FOUND, 0
    partial = found.with_name(f"{FOUND}.partial")
    with sheet(folder / READINGS) as readings, partial.open("w", encoding="utf-8") as lines:
        for time_ms, moment in groupby(texts, key=itemgetter(0)):
            came_in = []
            for text in moment:
                if text[1] == "finding":
                    lines.write(f"{text[2]}\n")
                    findings += 1
                else:
                    came_in.append(text)
            if came_in:
                readings.add(time_ms, came_in)
    os.replace(partial, found)
    return readings.rows, findings


def _events(journal: Journal, tank: str, from_s: float, to_s: float) -> Iterator[Recorded]:
    for record in between_as_told(journal, tank, from_s, to_s, _EVENT_KINDS):
        if isinstance(record, _RECORDED):
            yield record


def _write_corrections(path: Path, told: Told, from_s: float, to_s: float) -> None:
    """What was said before, for who reads on; nothing else is made of it."""
    lines = [
        to_line({"number": number, **to_wire(correction), "was": to_wire(was)})
        for number, correction, was in told.corrections
        if from_s <= correction.time_s < to_s
    ]
    path.unlink(missing_ok=True)
    if lines:
        path.write_text("".join(f"{line}\n" for line in lines), encoding="utf-8")
