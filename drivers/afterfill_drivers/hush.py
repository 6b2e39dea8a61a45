"""Forgetting what a line said."""

import time
from collections.abc import Callable

_MOST_CHUNKS = 16  # that are dropped at once; a flood may not hold us


def drop(receive: Callable[[float], bytes], quiet_s: float) -> None:
    """Forget what `receive` has waiting, then what still comes; see `hush`."""
    for _ in range(_MOST_CHUNKS):
        if not receive(0.0):
            break
    hush(receive, quiet_s)


def hush(receive: Callable[[float], bytes], quiet_s: float) -> None:
    """Forget what `receive` gives until nothing came for `quiet_s` [s], for four times so long at
    most: a line that never falls silent may not hold us."""
    end_s = time.monotonic() + 4 * quiet_s
    while (now_s := time.monotonic()) < end_s and receive(min(end_s, now_s + quiet_s)):
        pass
