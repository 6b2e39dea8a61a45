"""The high-water marks: which numbers the database was told to keep, noted outside of it.

SQLite drops the end of its log, without a word, from the first frame on whose checksum is wrong. So
a process that has committed something notes its number in the first page of the tail, twice.
Nothing is flushed for it: a mark that a power cut takes only says less.
"""

import os
import struct
import zlib
from pathlib import Path
from typing import NamedTuple

from afterfill.journal.tail import opened_to_write, tag_of, tail_path

_SLOT = struct.Struct("<8sQI")  # journal, number, check
_COPIES, _APART_BYTES = 2, 64
_RECORD, _INBOX = range(2)


class Marks(NamedTuple):
    """The last numbers that were committed: of records, and of commands in the inbox."""

    record: int
    inbox: int


def marks(path: Path, journal: bytes) -> Marks:
    """The marks of the journal at `path`; 0 where there is none."""
    return marks_of(path, tag_of(journal))


def marks_of(path: Path, tag: bytes) -> Marks:
    """As `marks`, by the journal's name as it stands in the file."""
    page = _first_page(path)
    return Marks(*(_number(page, which, tag) for which in (_RECORD, _INBOX)))


def tag_in(path: Path) -> bytes | None:
    """The journal's name as it stands in a sound mark; None when there is none."""
    page = _first_page(path)
    for begin in range(0, len(page) - _SLOT.size + 1, _APART_BYTES):
        tag, number, check = _SLOT.unpack_from(page, begin)
        if any(tag) and check == _check(tag, number):
            return bytes(tag)
    return None


def _first_page(path: Path) -> bytes:
    try:
        with tail_path(path).open("rb") as file:
            return file.read(2 * _COPIES * _APART_BYTES)
    except OSError:
        return b""


def mark_record(path: Path, journal: bytes, number: int) -> None:
    """Records up to `number` are in the database."""
    _raise(path, journal, _RECORD, number)


def mark_inbox(path: Path, journal: bytes, number: int) -> None:
    """Commands up to `number` were in the inbox."""
    _raise(path, journal, _INBOX, number)


def _raise(path: Path, journal: bytes, which: int, number: int) -> None:
    """Fails silently: the next mark says it too."""
    tag = tag_of(journal)
    if marks(path, journal)[which] >= number:
        return
    slot = _SLOT.pack(tag, number, _check(tag, number)).ljust(_APART_BYTES, b"\0")
    try:
        file = opened_to_write(tail_path(path))
        try:
            os.pwrite(file, slot * _COPIES, which * _COPIES * _APART_BYTES)
        finally:
            os.close(file)
    except OSError:
        return


def _number(page: bytes, which: int, tag: bytes) -> int:
    found = [0]
    for copy in range(_COPIES):
        begin = (which * _COPIES + copy) * _APART_BYTES
        slot = page[begin : begin + _SLOT.size]
        if len(slot) == _SLOT.size:
            journal, number, check = _SLOT.unpack(slot)
            if journal == tag and check == _check(tag, number):
                found.append(number)
    return max(found)


def _check(tag: bytes, number: int) -> int:
    return zlib.crc32(number.to_bytes(8, "little"), zlib.crc32(tag))
