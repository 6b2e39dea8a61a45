"""How many bytes reach a disk: as the kernel counts them or, where it does not, page by page."""

import os
from pathlib import Path
from typing import Protocol

import numpy as np

PAGE_BYTES = 4096
FILES = ("", "-wal", "-shm", "-tail")  # of a journal
_PROBE_BYTES = 1 << 16


class Meter(Protocol):
    """Counts what is written to the files of one journal."""

    def write_back(self) -> None:
        """Do what the kernel would have done by now: write what is dirty."""

    def written_bytes(self) -> int:
        """Bytes written since the meter was made."""


def meter(journal: Path) -> Meter:
    """The kernel's own count where it counts what is written in the journal's folder."""
    return KernelMeter(journal) if _counted(journal.parent) else PageMeter(journal)


class KernelMeter:
    """`write_bytes` of /proc/self/io: pages made dirty, again when they were written between."""

    def __init__(self, journal: Path) -> None:
        self._journal, self._begin = journal, _kernel_bytes()

    def write_back(self) -> None:
        """Write the files' dirty pages."""
        for path in _files(self._journal):
            _write_back(path)

    def written_bytes(self) -> int:
        """Bytes written since the meter was made, by the whole process."""
        return _kernel_bytes() - self._begin


class PageMeter:
    """Pages that differ from what they were at the last writing back; for file systems in memory.
    A page written twice between counts once, and one written with what it held not at all."""

    def __init__(self, journal: Path) -> None:
        self._journal, self._before, self._bytes = journal, dict[Path, bytes](), 0
        self.write_back()
        self._bytes = 0

    def write_back(self) -> None:
        """Count the pages that have changed."""
        for path in _files(self._journal):
            now = path.read_bytes()
            self._bytes += PAGE_BYTES * _changed_pages(self._before.get(path, b""), now)
            self._before[path] = now

    def written_bytes(self) -> int:
        """Bytes of the pages that were seen to change."""
        return self._bytes


def _files(journal: Path) -> list[Path]:
    beside = [Path(f"{journal}{suffix}") for suffix in FILES]
    return [path for path in beside if path.exists()]


def _changed_pages(before: bytes, now: bytes) -> int:
    old, new = (np.frombuffer(_padded(data, len(now)), np.uint64) for data in (before, now))
    differ = (old != new).reshape(-1, PAGE_BYTES // 8).any(axis=1)
    return int(differ.sum())


def _padded(data: bytes, size: int) -> bytes:
    whole = -(-size // PAGE_BYTES) * PAGE_BYTES
    return data[:whole].ljust(whole, b"\0")


def _counted(folder: Path) -> bool:
    """Whether the kernel counts what is written in `folder`."""
    before, probe = _kernel_bytes(), folder / "counted"
    probe.write_bytes(os.urandom(_PROBE_BYTES))
    _write_back(probe)
    probe.unlink()
    return _kernel_bytes() - before >= _PROBE_BYTES


def _write_back(path: Path) -> None:
    file = os.open(path, os.O_RDONLY)
    try:
        os.fdatasync(file)
    finally:
        os.close(file)


def _kernel_bytes() -> int:
    try:
        lines = Path("/proc/self/io").read_text().splitlines()
    except OSError:  # a kernel without accounting counts nothing
        return 0
    return next((int(s.split()[1]) for s in lines if s.startswith("write_bytes")), 0)
