"""Threads whose work is begun again when it fails, and said to have failed.

The same thread goes on: where memory is short, a new one may not be had, and Python's
`Thread.start` then waits for ever (seen with 3.11).
"""

import logging
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field

from afterfill.back_off import BackOff
from afterfill.shown import shown, without_secrets

_log = logging.getLogger(__name__)
_PAUSES_S = (1.0, 60.0)
_STEADY_S = 300.0  # running so long again, a thread's past is forgiven
_LOOK_EVERY_S = 0.5
_LONGEST_SAID = 300  # characters of an error's own words in health


@dataclass
class Worker:
    """One thread's work: `body` runs until `stop` is set, or fails and is run again.

    `may_be_left`: what it still does when it is told to stop comes again after a restart, so that
    it is not waited for long."""

    name: str
    body: Callable[[], None]
    may_be_left: bool = False
    deaths: int = 0
    last_error: str = ""
    _thread: threading.Thread | None = field(default=None, repr=False)
    _at_work: bool = False

    def is_alive(self) -> bool:
        """Whether the body runs now, not only waits to be run again."""
        return self._at_work and self.has_thread()

    def has_thread(self) -> bool:
        """Whether its thread is there."""
        return self._thread is not None and self._thread.is_alive()

    def start(self, stop: threading.Event) -> None:
        """Run the body in a thread, again and again until `stop` is set."""
        self._thread = threading.Thread(target=self.live, args=(stop,), name=self.name, daemon=True)
        self._thread.start()

    def join(self, until_s: float) -> bool:
        """Wait until the monotonic time `until_s`; True when the thread has ended."""
        if self._thread is not None:
            self._thread.join(max(until_s - time.monotonic(), 0.0))
        return not self.has_thread()

    def live(self, stop: threading.Event) -> None:
        """Run the body until `stop` is set, after a failure with a pause that grows while it keeps
        failing."""
        pauses = BackOff(*_PAUSES_S)
        while not stop.is_set():
            began_s = time.monotonic()
            self._guarded()
            if time.monotonic() - began_s > _STEADY_S:
                pauses.worked()
            if stop.wait(pauses.failed()):
                return
            _log.warning("thread '%s' is started again", self.name)

    def _guarded(self) -> None:
        self._at_work = True
        try:
            self.body()
        except Exception as error:  # noqa: BLE001 - whatever it was, the others go on
            self.deaths += 1
            said = str(error) or type(error).__name__
            self.last_error = shown(without_secrets(said), _LONGEST_SAID)
            _log.exception("thread '%s' died", self.name)
        finally:
            self._at_work = False


def supervise(
    workers: list[Worker], stop: threading.Event, stop_within_s: float, left_after_s: float
) -> list[str]:
    """Run the workers until `stop` is set; returns the names of those that did not end in time:
    within `stop_within_s`, or `left_after_s` where a worker may be left."""
    for worker in workers:
        worker.start(stop)
    while not stop.wait(_LOOK_EVERY_S):
        for worker in workers:
            if not worker.has_thread():  # it fell out of its own safety net
                worker.deaths += 1
                worker.start(stop)
    told_s = time.monotonic()
    waits_s = {False: told_s + stop_within_s, True: told_s + left_after_s}
    return [worker.name for worker in workers if not worker.join(waits_s[worker.may_be_left])]
