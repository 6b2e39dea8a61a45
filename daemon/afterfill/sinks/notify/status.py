"""How reaching people is doing. Unlike a database, a person confirms nothing for weeks: silence is
no trouble here, a failure is, until the next success."""

import threading

from afterfill.sinks.health import SinkHealth


class DeliveryStatus:
    """Noted by one thread, read by any. Times are monotonic seconds."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._delivered_s: float | None = None
        self._errors = 0
        self._troubles: dict[str, str] = {}

    def delivered(self, whom: str, monotonic_s: float) -> None:
        """`whom` has been reached: whatever was the matter with it is over."""
        with self._lock:
            self._delivered_s = monotonic_s
            self._troubles.pop(whom, None)

    def mended(self, whom: str) -> None:
        """What was the matter with `whom` is over, though nothing has been delivered yet."""
        with self._lock:
            self._troubles.pop(whom, None)

    def failed(self, whom: str, sentence: str) -> bool:
        """Note a failure; True when it is another one than the last (worth a line in the log)."""
        with self._lock:
            news = self._troubles.get(whom) != sentence
            self._errors += 1
            self._troubles[whom] = sentence
            return news

    def health(self, monotonic_s: float) -> SinkHealth:
        """The state at `monotonic_s` [s]: down while a recipient cannot be reached."""
        with self._lock:
            age_s = None if self._delivered_s is None else monotonic_s - self._delivered_s
            return SinkHealth(
                not self._troubles, age_s, self._errors, "; ".join(self._troubles.values())
            )
