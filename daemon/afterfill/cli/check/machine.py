"""Checks of the machine: its clock, and the disk under the journal."""

import ctypes
import os
import shutil
import time
from pathlib import Path

from afterfill.cli.check.finding import Finding
from afterfill.config import JournalSettings
from afterfill.service.clock import is_synchronised

_TIMEX_BYTES = 512  # struct timex is 208 bytes on 64-bit Linux; the kernel fills no more
_TIME_ERROR = 5  # adjtimex(2): the clock is not synchronised
_MADE_S = 1_767_225_600.0  # 2026-01-01: before this program was written


def clock_finding() -> Finding:
    """What is known of the clock. Intervals do not need it; times and calendars do."""
    if time.time() < _MADE_S:
        return Finding("clock", "fault", "it stands in the past: connect to the network once")
    if is_synchronised():
        return Finding("clock", "ok", "set by the time daemon since this boot")
    kernel = _kernel_says_synchronised()
    if kernel is None:
        return Finding("clock", "unknown", "nothing here can say whether it is synchronised")
    said = "synchronised" if kernel else "not synchronised"
    return Finding(
        "clock", "ok" if kernel else "unknown",
        f"the kernel says {said}; records are marked as not synchronised unless "
        "systemd-timesyncd has set the clock",
    )  # fmt: skip


def _kernel_says_synchronised() -> bool | None:
    """The kernel's own flag, by adjtimex with nothing to change; None when it cannot be asked."""
    try:
        adjtimex = ctypes.CDLL(None).adjtimex
    except (AttributeError, OSError):
        return None
    state = adjtimex(ctypes.create_string_buffer(_TIMEX_BYTES))
    return None if state < 0 else state != _TIME_ERROR


def disk_finding(settings: JournalSettings, journal_path: Path) -> Finding:
    """Whether the journal can be written, and can grow to `max_mb`."""
    folder = journal_path.parent
    trouble = _not_writable(journal_path)
    if trouble:
        return Finding("disk", "fault", trouble)
    free_mb = shutil.disk_usage(folder).free / 1e6
    missing_mb = settings.max_mb - _size_mb(journal_path) - free_mb
    if missing_mb > 0:
        return Finding(
            "disk", "fault",
            f"{folder} has {free_mb:.0f} MB free, {missing_mb:.0f} MB too few for [journal] "
            f"max_mb = {settings.max_mb:g}; free some or lower max_mb",
        )  # fmt: skip
    return Finding("disk", "ok", f"{folder} can be written, {free_mb:.0f} MB free")


def _not_writable(journal_path: Path) -> str | None:
    folder = journal_path.parent
    if not folder.is_dir():
        return f"the folder {folder} does not exist; make it, or correct [journal] path"
    if not os.access(folder, os.W_OK):
        return f"this user may not write in {folder}; let the service's user own it"
    if journal_path.exists() and not os.access(journal_path, os.W_OK):
        return f"this user may not write {journal_path}; let the service's user own it"
    return None


def _size_mb(journal_path: Path) -> float:
    return journal_path.stat().st_size / 1e6 if journal_path.exists() else 0.0
