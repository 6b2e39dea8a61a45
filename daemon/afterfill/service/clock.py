"""Wall time with its quality, and the monotonic time on which every interval is measured."""

import threading
import time
from pathlib import Path

from afterfill.records import Stamp

_BOOT_ID = Path("/proc/sys/kernel/random/boot_id")
_SYNCHRONISED = Path("/run/systemd/timesync/synchronized")  # made by the system's time daemon


class SystemClock:
    """The machine's clocks; `wait` ends early when `stop` is set."""

    def __init__(self, stop: threading.Event) -> None:
        self._stop = stop
        self._boot_id = boot_id()

    def stamp(self) -> Stamp:
        """Now, on a grid of one millisecond."""
        now_s = round(time.time() * 1000) / 1000
        return Stamp(now_s, is_synchronised(), self._boot_id, self.monotonic_s())

    def monotonic_s(self) -> float:
        """Seconds since some time in the past, never jumping, on a grid of one millisecond."""
        return round(time.monotonic(), 3)

    def wait(self, seconds: float) -> None:
        """Sleep, or return at once when the service is stopping."""
        self._stop.wait(max(seconds, 0.0))


def boot_id() -> str:
    """The kernel's name for this boot, `unknown` where there is none."""
    try:
        return _BOOT_ID.read_text().strip()
    except OSError:
        return "unknown"


def is_synchronised() -> bool:
    """Whether a time daemon has set the clock since boot; False also when it cannot be told."""
    return _SYNCHRONISED.exists()
