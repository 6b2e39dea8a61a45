"""Gives back what is freed: the C library would keep it, and a Pi has better use for it.

Not every C library can be told so; then nothing is done.
"""

import ctypes
from contextlib import suppress

_MMAP_THRESHOLD, _ARENA_MAX = -3, -8  # malloc.h of glibc
_LARGE = 256 * 1024


def settle() -> None:
    """Large pieces (a password's hash takes 16 MB) go back as soon as they are freed, and all
    threads share one heap."""
    with suppress(AttributeError):
        tell = ctypes.CDLL(None).mallopt
        tell(_MMAP_THRESHOLD, _LARGE)
        tell(_ARENA_MAX, 1)
    give_back()  # what was loading took


def give_back() -> None:
    """After something that took much: all that is free now."""
    with suppress(AttributeError):
        ctypes.CDLL(None).malloc_trim(0)
