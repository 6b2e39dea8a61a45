"""The newest blocks, in a small file beside the database: `afterfill.db-tail`.

A commit to SQLite makes an SD card write some 20 kB, however little is new: pages of the log, and
those of its index in shared memory, which the kernel writes too (measured, see
`tests/bench/wear.py`). A frame here costs one page of 4 kB. So what comes all the time goes here
first, and into the database with the next commit that must go there: something rare, a snapshot,
or no room here.

A frame names the journal and the last number that its database held when the frame was written.
So a frame counts only while it continues the database, all frames become void in the same moment
in which a transaction takes them over, and the file is simply written from its beginning again.

Each frame has its head twice. One flipped bit hits one of the two at most, so that a frame which
was written is always known to have been there: read all the same, or counted as damaged. The first
page holds the marks (`mark.py`). Form 3 had one head and no such page.
"""

import os
import struct
import zlib
from contextlib import suppress
from pathlib import Path

from afterfill.journal.check import CHECKED_FORM

PAGE_BYTES = 4096  # of the file system; a frame does not straddle two if it can be helped
ROOM_BYTES = 1 << 20  # an hour takes some 40 kB a tank
_HEAD = struct.Struct("<8sQII")  # journal, base, length, check


def tail_path(path: Path) -> Path:
    """The tail of the journal at `path`."""
    return path.with_name(f"{path.name}-tail")


def tag_of(journal: bytes) -> bytes:
    """What names the journal in files of this form; an older form used the 8 bytes as they are."""
    return bytes(byte ^ 0xFF for byte in journal)


class Tail:
    """One process writes, any may read. Raises OSError."""

    def __init__(self, path: Path, journal: bytes, *, form: int = CHECKED_FORM) -> None:
        """`journal`: 8 bytes that tell this journal from any other; `form`: of the journal."""
        old = form < CHECKED_FORM
        self._path, self._journal = path, journal if old else tag_of(journal)
        self._heads = 1 if old else 2
        self._first = 0 if old else PAGE_BYTES
        self._file: int | None = None
        self._writable = False
        self._base = -1
        self._end = self._first
        self._frames: list[bytes] = []
        self._passed = 0
        self._broken_end = False

    def close(self) -> None:
        """Let go of the file. Safe twice."""
        if self._file is not None:
            os.close(self._file)
        self._file = None

    @property
    def damaged(self) -> int:
        """How many places of what `frames` read hold a frame no more, or one that is not whole."""
        return self._passed + self._broken_end

    def frames(self, base: int) -> list[bytes]:
        """What was written since the database's last number was `base`."""
        if self._base != base:
            self._base, self._end, self._frames = base, self._first, []
            self._passed = 0
        if self._file is None:
            with suppress(FileNotFoundError):
                self._file = os.open(self._path, os.O_RDONLY | os.O_CLOEXEC)
        self._broken_end = False
        while self._file is not None and self._read_next(self._file):
            pass
        return self._frames

    def search(self) -> None:
        """Look for frames in all the rest of the file, also behind what names no frame at all."""
        if self._file is not None and self._pass_to_next(self._file, self._end):
            self.frames(self._base)

    def append(self, base: int, frame: bytes, *, flush: bool) -> bool:
        """Write one more; others see it when this returns, and with `flush` it is on the disk.
        False when there is no room. `base`: as of the last call of `frames`."""
        head = _HEAD.pack(self._journal, base, len(frame), self._check(base, frame))
        whole = head * self._heads + frame
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
            os.pwrite(
                file, bytes(_HEAD.size * self._heads), begin
            )  # it must not be taken for written
            raise
        self._end = begin + len(whole)
        self._frames.append(frame)
        return True

    def _to_write(self) -> int:
        if self._file is None or not self._writable:
            self.close()
            self._file, self._writable = opened_to_write(self._path), True
        return self._file

    def _read_next(self, file: int) -> bool:
        places = sorted({self._end, _next_page(self._end)})
        for begin in places:
            if self._take(file, begin):
                return True
        if self._heads > 1 and any(self._is_named(file, begin) for begin in places):
            return self._pass_to_next(file, self._end)
        return False

    def _take(self, file: int, begin: int) -> bool:
        frame = self._frame_at(file, begin)
        if frame is None:
            return False
        self._end = begin + _HEAD.size * self._heads + len(frame)
        self._frames.append(frame)
        return True

    def _pass_to_next(self, file: int, begin: int) -> bool:
        """Go on with the next sound frame, if one follows what is damaged."""
        name = self._journal + self._base.to_bytes(8, "little")
        try:
            rest = os.pread(file, ROOM_BYTES, begin)
        except OSError:
            rest = b""
        at = rest.find(name)
        self._broken_end = at >= 0
        while at >= 0:
            for place in (begin + at - _HEAD.size, begin + at):
                if place >= begin and self._take(file, place):
                    self._passed += 1
                    self._broken_end = False
                    return True
            at = rest.find(name, at + 1)
        return False

    def _frame_at(self, file: int, begin: int) -> bytes | None:
        try:
            return self._sound_frame_at(file, begin)
        except OSError:  # a sector that cannot be read holds no frame; writing may mend it
            return None

    def _sound_frame_at(self, file: int, begin: int) -> bytes | None:
        body = begin + _HEAD.size * self._heads
        for length, check in self._heads_at(file, begin):
            if length <= ROOM_BYTES:
                frame = os.pread(file, length, body)
                if len(frame) == length and check == self._check(self._base, frame):
                    return frame
        return None

    def _is_named(self, file: int, begin: int) -> bool:
        try:
            return bool(self._heads_at(file, begin))
        except OSError:
            return False

    def _heads_at(self, file: int, begin: int) -> list[tuple[int, int]]:
        """Length and check of each head at `begin` that names this journal and its last number."""
        content = os.pread(file, _HEAD.size * self._heads, begin)
        whole = len(content) // _HEAD.size * _HEAD.size
        heads = [_HEAD.unpack_from(content, at) for at in range(0, whole, _HEAD.size)]
        return [head[2:] for head in heads if head[:2] == (self._journal, self._base)]

    def _check(self, base: int, frame: bytes) -> int:
        return _check(self._journal, base, frame)


def frames_anywhere(path: Path, tag: bytes) -> list[bytes]:
    """The sound frames in the file that were written last, wherever they lie: all with the newest
    of the numbers that frames there continue."""
    try:
        content = path.read_bytes()
    except OSError:
        return []
    found: dict[int, dict[int, bytes]] = {}
    at = content.find(tag, PAGE_BYTES)
    while at >= 0:
        if at + _HEAD.size <= len(content):
            _, base, length, check = _HEAD.unpack_from(content, at)
            for body in (at + 2 * _HEAD.size, at + _HEAD.size):  # by its first head or its second
                frame = content[body : body + length]
                if len(frame) == length and check == _check(tag, base, frame):
                    found.setdefault(base, {})[body] = frame
        at = content.find(tag, at + 1)
    newest = found[max(found)] if found else {}
    return [newest[body] for body in sorted(newest)]


def opened_to_write(path: Path) -> int:
    """The file at `path`, made if need be as its journal may be read. Raises OSError."""
    mode = path.with_name(path.name.removesuffix("-tail")).stat().st_mode
    return os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, mode & 0o666)


def _check(tag: bytes, base: int, frame: bytes) -> int:
    return zlib.crc32(frame, zlib.crc32(tag + base.to_bytes(8, "little")))


def _begin(end: int, size: int) -> int:
    fits = end % PAGE_BYTES + size <= PAGE_BYTES
    return end if fits else _next_page(end)


def _next_page(end: int) -> int:
    return -(-end // PAGE_BYTES) * PAGE_BYTES
