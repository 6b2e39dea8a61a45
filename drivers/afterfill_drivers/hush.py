"""Waiting until a line has fallen silent."""

import time
from collections.abc import Callable


def hush(receive: Callable[[float], bytes], quiet_s: float) -> None:
    """Forget what `receive` gives until nothing came for `quiet_s` [s], for four times so long at
    most: a line that never falls silent may not hold us."""
    end_s = time.monotonic() + 4 * quiet_s
    while (now_s := time.monotonic()) < end_s and receive(min(end_s, now_s + quiet_s)):
        pass
