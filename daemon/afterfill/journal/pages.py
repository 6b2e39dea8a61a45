"""A damaged database as its pages alone: rows found without the schema or the tree above them.

The format is that of SQLite's documents ("Database File Format", from memory): leaf pages, cells,
overflow pages. Whether what looks like a row is one, its own checksum says.
"""

import struct
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from afterfill.journal.check import Value, lenient
from afterfill.journal.wal import Log, read_log

TABLE_LEAF, _INDEX_LEAF, _INDEX_INNER = 0x0D, 0x0A, 0x02
_FILE_HEADER = 100
_SIZES = (1024, 4096, 512, 2048, 8192)  # ours first, then SQLite's own
_LOOKED_AT = 500  # pages
_MOST_PAYLOAD = 1 << 26
_INTEGERS = {1: 1, 2: 2, 3: 3, 4: 4, 5: 6, 6: 8}


class Cell(NamedTuple):
    """What looks like a row; `number` is its rowid, None in an index or a table without."""

    number: int | None
    columns: list[Value]


class Pages:
    """The pages of the database at `path`, those in its log in place of older ones."""

    def __init__(self, path: Path) -> None:
        log_path = Path(f"{path}-wal")
        self.log: Log = read_log(log_path.read_bytes() if log_path.exists() else b"")
        self._file = path.open("rb") if path.exists() else None
        head = self._read(0, _FILE_HEADER)
        written = int.from_bytes(head[16:18], "big")
        usual = written if written in _SIZES else max(_SIZES, key=self._share_of_trees)
        self.page_bytes = self.log.page_bytes or usual
        stored = 0 if self._file is None else path.stat().st_size // self.page_bytes
        self.count = max(stored, *self.log.pages, 0) if self.log.pages else stored
        self._free = set(self._freed())

    def close(self) -> None:
        """Let go of the file."""
        if self._file is not None:
            self._file.close()

    def cells(self) -> Iterator[Cell]:
        """What looks like a row on the pages that are in use."""
        for number in range(1, self.count + 1):
            if number not in self._free:
                yield from self._cells_of(number)

    def _read(self, begin: int, size: int) -> bytes:
        if self._file is None:
            return b""
        try:
            self._file.seek(begin)
            return self._file.read(size)
        except OSError:  # a sector that cannot be read
            return b""

    def _share_of_trees(self, size: int) -> float:
        """Which share of the pages would be part of a tree, if they had this size."""
        pages = (self._read(number * size, size) for number in range(1, _LOOKED_AT))
        whole = [page for page in pages if len(page) == size]
        return sum(_is_of_a_tree(page) for page in whole) / max(1, len(whole))

    def _page(self, number: int) -> bytes:
        page = self.log.pages.get(number)
        if page is None:
            page = self._read((number - 1) * self.page_bytes, self.page_bytes)
        return page if len(page) == self.page_bytes else bytes(self.page_bytes)

    def _freed(self) -> Iterator[int]:
        """The pages that are in use no more: they hold old rows."""
        trunk, seen = struct.unpack_from(">I", self._page(1), 32)[0], set[int]()
        while 0 < trunk <= self.count and trunk not in seen:
            seen.add(trunk)
            page = self._page(trunk)
            following, leaves = struct.unpack_from(">2I", page)
            yield trunk
            if leaves <= self.page_bytes // 4 - 2:
                yield from struct.unpack_from(f">{leaves}I", page, 8)
            trunk = following

    def _cells_of(self, number: int) -> Iterator[Cell]:
        page, head = self._page(number), _FILE_HEADER if number == 1 else 0
        kind = page[head]
        if kind not in (_INDEX_LEAF, _INDEX_INNER):
            yield from self._cells_as(page, head, head + 8, skip=0, with_number=True)
        if kind != TABLE_LEAF:
            yield from self._cells_as(page, head, head + 8, skip=0, with_number=False)
            yield from self._cells_as(page, head, head + 12, skip=4, with_number=False)

    def _cells_as(
        self, page: bytes, head: int, pointers: int, *, skip: int, with_number: bool
    ) -> Iterator[Cell]:
        (count,) = struct.unpack_from(">H", page, head + 3)
        seen = set[int]()
        for at in range(pointers, min(pointers + 2 * count, self.page_bytes - 1), 2):
            (begin,) = struct.unpack_from(">H", page, at)
            if begin in seen or not pointers <= begin < self.page_bytes - 3:
                continue
            seen.add(begin)
            cell = self._cell(page, begin + skip, with_number)
            if cell is not None:
                yield cell

    def _cell(self, page: bytes, begin: int, with_number: bool) -> Cell | None:
        try:
            size, at = _varint(page, begin)
            number, at = _varint(page, at) if with_number else (None, at)
            if not 1 < size <= _MOST_PAYLOAD:
                return None
            columns = _columns(self._payload(page, at, size, table=with_number))
        except (IndexError, struct.error, ValueError):
            return None
        return Cell(number, columns)

    def _payload(self, page: bytes, at: int, size: int, *, table: bool) -> bytes:
        usable = self.page_bytes
        least = (usable - 12) * 32 // 255 - 23
        most = usable - 35 if table else (usable - 12) * 64 // 255 - 23
        if size <= most:
            return page[at : at + size]
        local = least + (size - least) % (usable - 4)
        local = local if local <= most else least
        parts, missing = [page[at : at + local]], size - local
        (following,) = struct.unpack_from(">I", page, at + local)
        while missing > 0:
            if not 0 < following <= self.count:
                raise ValueError
            more = self._page(following)
            parts.append(more[4 : 4 + missing])
            missing -= usable - 4
            (following,) = struct.unpack_from(">I", more)
        return b"".join(parts)


def _is_of_a_tree(page: bytes) -> bool:
    """Cells fill a page from its end on: what begins like a larger page has none there."""
    _, cells, content = struct.unpack_from(">3H", page, 1)
    begin = 12 if page[0] in (_INDEX_INNER, 5) else 8
    if page[0] not in (_INDEX_INNER, 5, TABLE_LEAF, _INDEX_LEAF) or not cells:
        return False
    if not begin + 2 * cells <= content <= len(page):
        return False
    highest: int = max(struct.unpack_from(f">{cells}H", page, begin))
    return highest > len(page) // 2


def _varint(data: bytes, at: int) -> tuple[int, int]:
    value = 0
    for _ in range(8):
        byte = data[at]
        value, at = value << 7 | byte & 0x7F, at + 1
        if byte < 0x80:
            return value, at
    value = value << 8 | data[at]
    return value - (1 << 64) if value >> 63 else value, at + 1


def _columns(payload: bytes) -> list[Value]:
    end, at = _varint(payload, 0)
    kinds = []
    while at < end:
        kind, at = _varint(payload, at)
        kinds.append(kind)
    columns: list[Value] = []
    for kind in kinds:
        value, at = _value(payload, at, kind)
        columns.append(value)
    if at != len(payload) or len(kinds) > 16:
        raise ValueError
    return columns


def _value(data: bytes, at: int, kind: int) -> tuple[Value, int]:
    if kind in (0, 8, 9):
        return (None if kind == 0 else kind - 8), at
    if kind == 7:
        return struct.unpack_from(">d", data, at)[0], at + 8
    if kind in _INTEGERS:
        size = _INTEGERS[kind]
        return int.from_bytes(data[at : at + size], "big", signed=True), at + size
    if kind < 12:
        raise ValueError
    size = (kind - 12) // 2
    content = data[at : at + size]
    return (lenient(content) if kind % 2 else content), at + size
