"""`readings.csv` of a recording: header `time,orp_mv,ph,temperature_c`, one row per time.

An empty cell is 'no reading'; a row with empty cells only says that time passed. A further column
`invalid`, written only when there is something to say, tells of readings that failed:
``orp:no-answer ph:bad-checksum``. Columns of other names are ignored with one notice.
"""

import csv
import math
import os
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TextIO, get_args

from afterfill.errors import PayloadError, RecordingError
from afterfill.journal.block_text import Text
from afterfill.ports import POSSIBLE
from afterfill.records import QUANTITIES, InvalidReason, Quantity, Reading, Tick
from afterfill.sentences import nearest
from afterfill.wire import rfc3339_ms, unix_s

COLUMNS: dict[Quantity, str] = {"orp": "orp_mv", "ph": "ph", "temperature": "temperature_c"}
_HEADER = ["time", *COLUMNS.values()]
_EMPTY = [""] * len(COLUMNS)
_INVALID = "invalid"
_REASONS: dict[str, InvalidReason] = {reason: reason for reason in get_args(InvalidReason)}


def read_readings(path: Path, tank: str, notice: Callable[[str], None]) -> Iterator[Reading | Tick]:
    """The rows, streamed. A number that no probe can mean becomes an invalid reading.

    Raises RecordingError with the line.
    """
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            yield from _read(file, path, tank, notice)
    except FileNotFoundError as error:
        raise RecordingError(f"{path} is missing; a recording is a folder with it") from error
    except (OSError, UnicodeDecodeError) as error:
        raise RecordingError(f"{path}: cannot be read: {error}") from error


def _read(
    file: Iterable[str], path: Path, tank: str, notice: Callable[[str], None]
) -> Iterator[Reading | Tick]:
    rows = csv.reader(file, strict=True)
    before_s = -math.inf
    try:
        header = [name.strip() for name in next(rows, [])]
        _check_header(header, path, notice)
        for cells in rows:
            if cells:
                row = _row(header, cells)
                time_s = unix_s(row["time"])
                if time_s < before_s:
                    raise PayloadError(
                        f"its time {row['time']} lies before that of the row above; "
                        "sort the rows by time"
                    )
                before_s = time_s
                yield from _inputs(row, time_s, tank)
    except (csv.Error, PayloadError) as error:
        raise RecordingError(f"{path} line {max(1, rows.line_num)}: {error}") from error


def _check_header(header: list[str], path: Path, notice: Callable[[str], None]) -> None:
    if not header:
        raise PayloadError(f"the file is empty; it begins with the header {','.join(_HEADER)}")
    further = [name for name in header if name not in _HEADER and name != _INVALID]
    for name in _HEADER:
        if name not in header:
            guess = nearest(name, further) if further else "name the columns in the first row"
            raise PayloadError(f"the header lacks the column '{name}'; {guess}")
        if header.count(name) > 1:
            raise PayloadError(f"the header names the column '{name}' twice")
    if further:
        notice(f"{path}: ignored columns: {', '.join(further)}")


def _row(header: list[str], cells: list[str]) -> dict[str, str]:
    if len(cells) != len(header):
        raise PayloadError(
            f"has {len(cells)} cells where the header has {len(header)}; "
            "decimals are written with a point"
        )
    return dict(zip(header, map(str.strip, cells), strict=True))


def _inputs(row: dict[str, str], time_s: float, tank: str) -> Iterator[Reading | Tick]:
    invalid = _invalid(row.get(_INVALID, ""))
    silent = True
    for quantity in QUANTITIES:
        if quantity in invalid:
            yield Reading(time_s, tank, quantity, None, invalid=invalid[quantity])
        elif row[COLUMNS[quantity]]:
            yield _reading(row[COLUMNS[quantity]], time_s, tank, quantity)
        else:
            continue
        silent = False
    if silent:
        yield Tick(time_s, tank)


def _reading(cell: str, time_s: float, tank: str, quantity: Quantity) -> Reading:
    try:
        value = float(cell)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise PayloadError(
            f"'{cell}' in column '{COLUMNS[quantity]}' is not a number; leave the cell empty "
            "where nothing was read"
        )
    low, high = POSSIBLE[quantity]
    if not low <= value <= high:
        return Reading(time_s, tank, quantity, None, invalid="out-of-range")
    return Reading(time_s, tank, quantity, value)


def _invalid(cell: str) -> dict[str, InvalidReason]:
    found: dict[str, InvalidReason] = {}
    for item in cell.split():
        quantity, _, reason = item.partition(":")
        if quantity not in COLUMNS or reason not in _REASONS:
            known = COLUMNS if quantity not in COLUMNS else _REASONS
            guess = nearest(quantity if quantity not in COLUMNS else reason, known)
            raise PayloadError(f"'{item}' in column '{_INVALID}' is not known; {guess}")
        found[quantity] = _REASONS[reason]
    return found


class Sheet:
    """`readings.csv` while it is written, from readings and ticks in order of time."""

    def __init__(self, file: TextIO) -> None:
        """The column `invalid` is written to `file`; whether it is needed is known at the end."""
        self.rows, self.with_invalid = 0, False
        self._file, self._csv = file, csv.writer(file, lineterminator="\n")
        self._csv.writerow([*_HEADER, _INVALID])

    def add(self, time_ms: int, texts: Iterable[Text]) -> None:
        """What came in at one time; a second row only when a quantity was read twice."""
        cells: dict[str, str] = {}
        invalid: list[str] = []
        for _, quantity, value, why in texts:
            if quantity in cells:
                self._row(time_ms, cells, invalid)
                cells, invalid = {}, []
            if quantity == "tick":
                continue
            cells[quantity] = value or ""
            if value is None:
                invalid.append(f"{quantity}:{why or 'no-answer'}")
            if why:
                self.with_invalid = True
        self._row(time_ms, cells, invalid)

    def _row(self, time_ms: int, cells: dict[str, str], invalid: list[str]) -> None:
        row = [rfc3339_ms(time_ms), *map(cells.get, COLUMNS, _EMPTY)]
        if invalid:
            self._csv.writerow([*row, " ".join(sorted(invalid))])
        else:
            self._file.write(",".join([*row, "\n"]))  # nothing in it needs quotes
        self.rows += 1


@contextmanager
def sheet(path: Path) -> Iterator[Sheet]:
    """A sheet that stands at `path` once all of it is written. Raises OSError."""
    partial = path.with_name(f"{path.name}.partial")
    with partial.open("w", encoding="utf-8", newline="") as file:
        yield (written := Sheet(file))
    os.replace(partial if written.with_invalid else _without_last_column(partial), path)


def _without_last_column(wide: Path) -> Path:
    narrow = wide.with_name(f"{wide.name}-narrow")
    with (
        wide.open(encoding="utf-8", newline="") as rows,
        narrow.open("w", encoding="utf-8", newline="") as file,
    ):
        file.writelines(f"{row.rpartition(',')[0]}\n" for row in rows)
    wide.unlink()
    return narrow
