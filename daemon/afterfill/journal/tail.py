"""The newest blocks, in a small file beside the database: `afterfill.db-tail`.

A commit to SQLite makes an SD card write some 20 kB, however little is new: pages of the log, and
those of its index in shared memory, which the kernel writes too (measured, see
`tests/bench/wear.py`). A frame here costs one page of 4 kB. So what comes all the time goes here
first, and into the database with the next commit that must go there: something rare, a snapshot,
or no room here.

A frame names the journal and the last number that its database held when the frame was written.
So a frame counts only while it continues the database, all frames become void in the same moment
in which a transaction takes them over, and the file is simply written from its beginning again.
"""

import os
import struct
import zlib
from contextlib import suppress
from pathlib import Path

PAGE_BYTES = 4096  # of the file system; a frame does not straddle two if it can be helped
ROOM_BYTES = 1 << 20  # an hour takes some 40 kB a tank
_HEAD = struct.Struct("<8sQII")  # journal, base, length, check


class Tail:
    """One process writes, any may read. Raises OSError."""

    def __init__(self, path: Path, journal: bytes) -> None:
        """`journal`: 8 bytes that tell this journal from any other."""
        self._path, self._journal = path, journal
        self._file: int | None = None
        self._writable = False
        self._base = -1
        self._end = 0
        self._frames: list[bytes] = []

    def close(self) -> None:
        """Let go of the file. Safe twice."""
        if self._file is not None:
            os.close(self._file)
        self._file = None

    def frames(self, base: int) -> list[bytes]:
        """What was written since the database's last number was `base`."""
        if self._base != base:
            self._base, self._end, self._frames = base, 0, []
        if self._file is None:
            with suppress(FileNotFoundError):
                self._file = os.open(self._path, os.O_RDONLY | os.O_CLOEXEC)
        while self._file is not None and self._read_next(self._file):
            pass
        return self._frames

    def append(self, base: int, frame: bytes, *, flush: bool) -> bool:
        """Write one more; others see it when this returns, and with `flush` it is on the disk.
        False when there is no room. `base`: as of the last call of `frames`."""
        head = _HEAD.pack(self._journal, base, len(frame), self._check(base, frame))
        whole = head + frame
        begin = _begin(self._end, len(whole))
        if begin + len(whole) > ROOM_BYTES:
            return False
        file = self._to_write()
        try:
            if os.pwrite(file, whole, begin) != len(whole):
                return False
            if flush:
                os.fdatasync(file)
        except OSError:
            os.pwrite(file, bytes(_HEAD.size), begin)  # nobody may take it for written
            raise
        self._end = begin + len(whole)
        self._frames.append(frame)
        return True

    def _to_write(self) -> int:
        if self._file is None or not self._writable:
            self.close()
            mode = self._path.with_name(self._path.name.removesuffix("-tail")).stat().st_mode
            flags = os.O_RDWR | os.O_CREAT | os.O_CLOEXEC
            self._file, self._writable = os.open(self._path, flags, mode & 0o666), True
        return self._file

    def _read_next(self, file: int) -> bool:
        for begin in sorted({self._end, _next_page(self._end)}):
            frame = self._frame_at(file, begin)
            if frame is not None:
                self._end = begin + _HEAD.size + len(frame)
                self._frames.append(frame)
                return True
        return False

    def _frame_at(self, file: int, begin: int) -> bytes | None:
        try:
            return self._sound_frame_at(file, begin)
        except OSError:  # a sector that cannot be read holds no frame; writing may mend it
            return None

    def _sound_frame_at(self, file: int, begin: int) -> bytes | None:
        head = os.pread(file, _HEAD.size, begin)
        if len(head) < _HEAD.size:
            return None
        journal, base, length, check = _HEAD.unpack(head)
        if journal != self._journal or base != self._base or length > ROOM_BYTES:
            return None
        frame = os.pread(file, length, begin + _HEAD.size)
        return frame if len(frame) == length and check == self._check(base, frame) else None

    def _check(self, base: int, frame: bytes) -> int:
        return zlib.crc32(frame, zlib.crc32(self._journal + base.to_bytes(8, "little")))


def _begin(end: int, size: int) -> int:
    fits = end % PAGE_BYTES + size <= PAGE_BYTES
    return end if fits else _next_page(end)


def _next_page(end: int) -> int:
    return -(-end // PAGE_BYTES) * PAGE_BYTES
