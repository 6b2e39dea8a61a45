"""Whether the service runs, and how old what it wrote is: asked of the service, never of the clock.

A running service holds its journal's lock, which the kernel lets go when the process ends, however.
What it wrote carries the boot and the monotonic time of its writing. So a wall clock that was
wrong, or is wrong now, changes neither answer.
"""

import fcntl
import os
import threading
from dataclasses import dataclass
from pathlib import Path

from afterfill.records import Stamp
from afterfill.service.clock import SystemClock
from afterfill.service.only_one import lock_of


@dataclass(frozen=True, slots=True)
class Liveness:
    """`runs`: whether a service holds the journal, None where this user may not ask; `now`: the
    present."""

    runs: bool | None
    now: Stamp

    def age_s(self, written: Stamp) -> float:
        """How long ago something was written [s]. After a reboot: at least since then."""
        return age_s(written, self.now)


def liveness(journal_path: Path) -> Liveness:
    """How it is with the service of this journal now."""
    return Liveness(_is_held(lock_of(journal_path)), SystemClock(threading.Event()).stamp())


def age_s(written: Stamp, now: Stamp) -> float:
    """Seconds [s] from one stamp to another; between boots at least the time since the later one
    began, and what the wall clocks say when that is more."""
    if written.boot_id == now.boot_id:
        return max(now.monotonic_s - written.monotonic_s, 0.0)
    return max(now.time_s - written.time_s, now.monotonic_s)


def _is_held(lock: Path) -> bool | None:
    try:
        asked = os.open(lock, os.O_RDONLY | os.O_CLOEXEC)
    except FileNotFoundError:
        return False
    except OSError:
        return None
    try:
        fcntl.flock(asked, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        return True
    except OSError:
        return None
    else:
        return False
    finally:
        os.close(asked)
