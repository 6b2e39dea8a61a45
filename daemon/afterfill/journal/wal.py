"""SQLite's write-ahead log, read so that one flipped bit in it loses nothing.

SQLite believes the log only up to the first frame whose checksum is wrong. The checksums form a
chain, and each is linear in what it covers: so it mostly tells which single bit was flipped (of
the high bits of a word, it leaves several), and a frame that later ones continue was whole once.
The format is that of SQLite's documents ("Database File Format", chapter 4, from memory).
"""

import struct
from dataclasses import dataclass, field
from functools import lru_cache

_HEADER, _FRAME = struct.Struct(">8I"), struct.Struct(">6I")
_HEADER_COVERED, _FRAME_COVERED = 24, 8  # bytes that the checksum covers, before the page
_MAGICS = {0x377F0682: "<", 0x377F0683: ">"}
_VERSION = 3007000
_PAGE_SIZES = (512, 1024, 2048, 4096, 8192, 16384, 32768, 65536)
_MASK = 0xFFFFFFFF
_MOST_PAGES = 1 << 24  # of a database
Sum = tuple[int, int]


@dataclass
class Log:
    """The pages as the last commit in the log leaves them. `mended`: bits that were put right,
    `damaged`: frames that are not as they were written."""

    page_bytes: int = 0
    pages: dict[int, bytes] = field(default_factory=dict)
    size_pages: int = 0
    mended: int = 0
    damaged: int = 0

    @property
    def is_sound(self) -> bool:
        """Whether SQLite would read the same."""
        return not (self.mended or self.damaged)


def read_log(content: bytes) -> Log:
    """What the log `content` holds; of a log that is none, nothing."""
    log = Log()
    header = _sound_header(content, log)
    if header is None:
        log.damaged += len(content) > _HEADER.size and any(content[: _HEADER.size])
        return log
    order, log.page_bytes, salts, running = header
    size = _FRAME.size + log.page_bytes
    waiting: dict[int, bytes] = {}
    flaws = Log()
    for begin in range(_HEADER.size, len(content) - size + 1, size):
        frame = content[begin : begin + size]
        after = content[begin + size : begin + 2 * size]
        found = _sound_frame(frame, after, order, salts, running, flaws)
        if found is None:
            break
        number, commits, page, running = found
        waiting[number] = page
        if commits:  # what no commit follows was never promised
            log.pages |= waiting
            log.size_pages, waiting = commits, {}
            log.mended, log.damaged = log.mended + flaws.mended, log.damaged + flaws.damaged
            flaws = Log()
    return log


def _sound_header(content: bytes, log: Log) -> tuple[str, int, Sum, Sum] | None:
    if len(content) < _HEADER.size:
        return None
    covered, stored = content[:_HEADER_COVERED], _HEADER.unpack_from(content)[6:8]
    for order in "<>":
        if _sum(covered, (0, 0), order) == stored:
            return _of_header(covered, stored)
    candidates = [
        _of_header(c, stored) for order in "<>" for c in _mended(covered, (0, 0), stored, order)
    ]
    if (found := _of_header(covered, (0, 0))) is not None:
        ours = _sum(covered, (0, 0), found[0])
        candidates += [(*found[:3], ours)] if _bits(ours, stored) == 1 else []
    for candidate in candidates:  # the first frame tells which one is meant
        if candidate is not None:
            order, page_bytes, salts, running = candidate
            first = content[_HEADER.size : _HEADER.size + _FRAME.size + page_bytes]
            if _continues(first, order, salts, running):
                log.mended += 1
                return candidate
    return None


def _of_header(covered: bytes, stored: Sum) -> tuple[str, int, Sum, Sum] | None:
    magic, version, page_bytes, _, *salts = struct.unpack(">6I", covered)
    if magic not in _MAGICS or version != _VERSION or page_bytes not in _PAGE_SIZES:
        return None
    return _MAGICS[magic], page_bytes, (salts[0], salts[1]), stored


def _sound_frame(
    frame: bytes, after: bytes, order: str, salts: Sum, running: Sum, flaws: Log
) -> tuple[int, int, bytes, Sum] | None:
    """Page number, size at a commit, page, and the checksum so far; None where the log ends."""
    _, _, *found = _FRAME.unpack_from(frame)
    theirs, stored = (found[0], found[1]), (found[2], found[3])
    covered = frame[:_FRAME_COVERED] + frame[_FRAME.size :]
    strange, ours = _bits(theirs, salts), _sum(covered, running, order)
    if strange > 1:
        return None
    if ours == stored:
        flaws.mended += strange
    elif strange:
        return None
    elif _bits(ours, stored) == 1 and not _continues(after, order, salts, stored):
        flaws.mended, stored = flaws.mended + 1, ours  # the checksum itself was hit
    else:
        candidates = _mended(covered, running, stored, order)
        mended = _only(candidates, covered)
        if mended is not None:
            flaws.mended, covered = flaws.mended + 1, mended
        elif candidates or _continues(after, order, salts, stored):
            flaws.damaged += 1  # it was whole once: what is wrong in it, its rows will tell
        else:
            return None
    number, commits = struct.unpack_from(">2I", covered)
    return number, commits, covered[_FRAME_COVERED:], stored


def _continues(frame: bytes, order: str, salts: Sum, running: Sum) -> bool:
    if len(frame) <= _FRAME.size:
        return False
    _, _, *found = _FRAME.unpack_from(frame)
    covered = frame[:_FRAME_COVERED] + frame[_FRAME.size :]
    return found == [*salts, *_sum(covered, running, order)]


def _bits(one: Sum, other: Sum) -> int:
    return (one[0] ^ other[0]).bit_count() + (one[1] ^ other[1]).bit_count()


def _sum(data: bytes, running: Sum, order: str) -> Sum:
    first, second = running
    words = struct.unpack(f"{order}{len(data) // 4}I", data)
    for even, odd in zip(words[::2], words[1::2], strict=True):
        first = first + even + second & _MASK
        second = second + odd + first & _MASK
    return first, second


def _only(candidates: list[bytes], covered: bytes) -> bytes | None:
    """The candidate that must be meant. High bits leave several; then the head decides, if no
    database is as large as it says."""
    if len(candidates) == 1:
        return candidates[0]
    if max(struct.unpack_from(">2I", covered)) <= _MOST_PAGES:
        return None
    likely = [c for c in candidates if max(struct.unpack_from(">2I", c)) <= _MOST_PAGES]
    return likely[0] if len(likely) == 1 else None


def _mended(data: bytes, running: Sum, stored: Sum, order: str) -> list[bytes]:
    """Each way to make the checksum of `data` that which is `stored` by flipping one bit."""
    ours = _sum(data, running, order)
    wanted = (stored[0] - ours[0] & _MASK, stored[1] - ours[1] & _MASK)
    opposite = (-wanted[0] & _MASK, -wanted[1] & _MASK)
    found = []
    for word, (first, second) in enumerate(_weights(len(data) // 4)):
        (value,) = struct.unpack_from(f"{order}I", data, 4 * word)
        for bit in range(32):
            needed = opposite if value >> bit & 1 else wanted
            if (first << bit & _MASK, second << bit & _MASK) == needed:
                mended = bytearray(data)
                struct.pack_into(f"{order}I", mended, 4 * word, value ^ 1 << bit)
                found.append(bytes(mended))
    return found


@lru_cache(maxsize=4)
def _weights(words: int) -> tuple[Sum, ...]:
    """How much the two sums change when a word grows by one."""
    found: list[Sum] = []
    even, odd = (1, 1), (0, 1)
    for _ in range(words // 2):
        found += [odd, even]
        even, odd = _step(even), _step(odd)
    return tuple(reversed(found))


def _step(change: Sum) -> Sum:
    first = change[0] + change[1] & _MASK
    return first, change[1] + first & _MASK
