"""Threads that are started again when they die, and said to have died."""

import logging
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field

_log = logging.getLogger(__name__)
_FIRST_PAUSE_S, _LONGEST_PAUSE_S = 1.0, 60.0
_STEADY_S = 300.0  # running so long again, a thread's past is forgiven


@dataclass
class Worker:
    """One thread's work: `body` runs until `stop` is set, or fails and is run again."""

    name: str
    body: Callable[[], None]
    deaths: int = 0
    last_error: str = ""
    _thread: threading.Thread | None = field(default=None, repr=False)
    _pause_s: float = _FIRST_PAUSE_S
    _started_s: float = 0.0
    _again_s: float | None = None

    def is_alive(self) -> bool:
        """Whether it runs now."""
        return self._thread is not None and self._thread.is_alive()

    def start(self) -> None:
        """Run the body in a new thread."""
        self._started_s, self._again_s = time.monotonic(), None
        self._thread = threading.Thread(target=self._guarded, name=self.name, daemon=True)
        self._thread.start()

    def join(self, until_s: float) -> bool:
        """Wait until the monotonic time `until_s`; True when the thread has ended."""
        if self._thread is not None:
            self._thread.join(max(until_s - time.monotonic(), 0.0))
        return not self.is_alive()

    def look_after(self, now_s: float) -> None:
        """Start again what has died, after a pause that grows while it keeps dying."""
        if self.is_alive():
            if now_s - self._started_s > _STEADY_S:
                self._pause_s = _FIRST_PAUSE_S
            return
        if self._again_s is None:
            self._again_s = now_s + self._pause_s
            self._pause_s = min(2.0 * self._pause_s, _LONGEST_PAUSE_S)
        elif now_s >= self._again_s:
            _log.warning("thread '%s' is started again", self.name)
            self.start()

    def _guarded(self) -> None:
        try:
            self.body()
        except Exception as error:  # noqa: BLE001 - whatever it was, the others go on
            self.deaths += 1
            self.last_error = str(error) or type(error).__name__
            _log.exception("thread '%s' died", self.name)


def supervise(workers: list[Worker], stop: threading.Event, stop_within_s: float) -> list[str]:
    """Run the workers until `stop` is set; returns the names of those that did not end in time."""
    for worker in workers:
        worker.start()
    while not stop.wait(0.5):
        for worker in workers:
            worker.look_after(time.monotonic())
    until_s = time.monotonic() + stop_within_s
    return [worker.name for worker in workers if not worker.join(until_s)]
