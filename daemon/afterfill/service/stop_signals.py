"""SIGTERM and SIGINT end the service.

The handler takes no lock: it runs in the main thread between any two steps of Python, also where
that thread holds the event's own lock, and `Event.set` would then wait for itself for ever.
`SimpleQueue.put` is made for this (Python's documentation of `queue`, read: "reentrant").
"""

import signal
import threading
from queue import SimpleQueue


def stop_on_signals(stop: threading.Event, *numbers: signal.Signals) -> None:
    """Set `stop` when one of these signals comes. To be called in the main thread."""
    came: SimpleQueue[int] = SimpleQueue()

    def wait() -> None:
        while came.get():
            stop.set()

    for number in numbers:
        signal.signal(number, lambda number, _frame: came.put(number))
    threading.Thread(target=wait, name="signals", daemon=True).start()
