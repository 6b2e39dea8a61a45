"""Makes the journal's system calls fail or linger: SQLite's Unix layer lets each be replaced, and
the tail's are Python's own.

What `decide` is asked before each call says what becomes of it: 0 lets it through, an errno makes
it fail with that. Reads, writes, truncations, opens, removals and the tail's flushes are covered;
SQLite's own fsync cannot be replaced.
"""

import _sqlite3
import ctypes
import errno
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from typing import Any
from unittest.mock import patch

from afterfill.journal import tail

_POINTER = ctypes.c_void_p
_RESULT: dict[bytes, Any] = {
    b"open": ctypes.CFUNCTYPE(ctypes.c_int, _POINTER, ctypes.c_int, ctypes.c_int, use_errno=True),
    b"pread64": ctypes.CFUNCTYPE(
        ctypes.c_ssize_t, ctypes.c_int, _POINTER, ctypes.c_size_t, ctypes.c_int64, use_errno=True
    ),
    b"pwrite64": ctypes.CFUNCTYPE(
        ctypes.c_ssize_t, ctypes.c_int, _POINTER, ctypes.c_size_t, ctypes.c_int64, use_errno=True
    ),
    b"write": ctypes.CFUNCTYPE(
        ctypes.c_ssize_t, ctypes.c_int, _POINTER, ctypes.c_size_t, use_errno=True
    ),
    b"ftruncate": ctypes.CFUNCTYPE(ctypes.c_int, ctypes.c_int, ctypes.c_int64, use_errno=True),
    b"unlink": ctypes.CFUNCTYPE(ctypes.c_int, _POINTER, use_errno=True),
}
_TAIL_CALLS = frozenset({"open", "pread", "pwrite", "fdatasync"})
_WRITABLE = 0o3  # O_WRONLY and O_RDWR
WRITING = frozenset(
    {"pwrite64", "write", "ftruncate", "unlink", "open to write", "pwrite", "fdatasync"}
)


class _Vfs(ctypes.Structure):
    """`sqlite3_vfs`, version 3 (sqlite3.h)."""


_HOOKS = (
    "xOpen", "xDelete", "xAccess", "xFullPathname", "xDlOpen", "xDlError", "xDlSym", "xDlClose",
    "xRandomness", "xSleep", "xCurrentTime", "xGetLastError", "xCurrentTimeInt64",
)  # fmt: skip
_Vfs._fields_ = [
    ("iVersion", ctypes.c_int),
    ("szOsFile", ctypes.c_int),
    ("mxPathname", ctypes.c_int),
    ("pNext", _POINTER),
    ("zName", ctypes.c_char_p),
    ("pAppData", _POINTER),
    *((hook, _POINTER) for hook in _HOOKS),
    ("xSetSystemCall", ctypes.CFUNCTYPE(ctypes.c_int, _POINTER, ctypes.c_char_p, _POINTER)),
    ("xGetSystemCall", ctypes.CFUNCTYPE(_POINTER, _POINTER, ctypes.c_char_p)),
]

Decide = Callable[[str], int]


@contextmanager
def failing_calls(decide: Decide) -> Iterator[None]:
    """The journals of this process ask `decide(name of the call)` first, until this ends."""
    library = ctypes.CDLL(_sqlite3.__file__)
    library.sqlite3_vfs_find.restype = ctypes.POINTER(_Vfs)
    vfs = library.sqlite3_vfs_find(None)
    standing = [_replaced(vfs, name, kind, decide) for name, kind in _RESULT.items()]
    try:
        with patch.object(tail, "os", _AskingOs(decide)):
            yield
    finally:
        for name, _, real in standing:
            vfs.contents.xSetSystemCall(vfs, name, real)


class _AskingOs:
    """The module `os` with its calls on files asking first."""

    def __init__(self, decide: Decide) -> None:
        self._decide = decide

    def __getattr__(self, name: str) -> Any:
        real = getattr(os, name)
        return partial(self._asking, name, real) if name in _TAIL_CALLS else real

    def _asking(self, name: str, real: Any, *arguments: Any) -> Any:
        to_write = name == "open" and arguments[1] & _WRITABLE
        failure = self._decide("open to write" if to_write else name)
        if failure:
            raise OSError(failure, os.strerror(failure))
        return real(*arguments)


def _replaced(vfs: Any, name: bytes, kind: Any, decide: Decide) -> tuple[bytes, Any, int]:
    """Puts a stand-in before the real call; (name, stand-in to be kept alive, the real one)."""
    address = vfs.contents.xGetSystemCall(vfs, name)
    assert address, f"SQLite has no call {name!r} to replace here"
    real = kind(address)

    def stand_in(*arguments: int) -> int:
        said = name.decode()
        if name == b"open" and arguments[1] & _WRITABLE:
            said = "open to write"
        failure = decide(said)
        if failure:
            ctypes.set_errno(failure)
            return -1
        return int(real(*arguments))

    kept = kind(stand_in)
    assert vfs.contents.xSetSystemCall(vfs, name, ctypes.cast(kept, _POINTER)) == 0
    return name, kept, address


def fails_at(nth: int, failure: int = errno.EIO, *, for_calls: int = 1) -> tuple[Decide, list[int]]:
    """A decision that lets `for_calls` calls from the `nth` on fail; and how many were asked."""
    asked = [0]

    def decide(_: str) -> int:
        asked[0] += 1
        return failure if nth <= asked[0] < nth + for_calls else 0

    return decide, asked
