"""How a sink is doing, kept by its thread and read by the service."""

import threading
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class SinkHealth:
    """`age_s`: seconds since the other side last confirmed something (None: never);
    `errors`: failures since the start; `detail`: one sentence when something is the matter."""

    up: bool
    age_s: float | None
    errors: int
    detail: str = ""


class SinkStatus:
    """Where a sink notes what happens to it. Times are monotonic seconds; any thread may use it."""

    def __init__(self, max_age_s: float) -> None:
        """A sink is up while its last confirmation is at most `max_age_s` [s] old."""
        self._max_age_s = max_age_s
        self._lock = threading.Lock()
        self._confirmed_s: float | None = None
        self._errors = 0
        self._trouble = ""
        self._remark = ""

    def confirmed(self, monotonic_s: float) -> None:
        """The other side has confirmed: whatever was the matter is over."""
        with self._lock:
            self._confirmed_s = monotonic_s
            self._trouble = ""

    def failed(self, sentence: str) -> bool:
        """Note a failure; True when it is another one than the last (worth a line in the log)."""
        with self._lock:
            news = sentence != self._trouble
            self._errors += 1
            self._trouble = sentence
            return news

    def remark(self, sentence: str, errors: int) -> None:
        """Note `errors` mishaps that stay worth knowing after the next success."""
        with self._lock:
            self._errors += errors
            self._remark = sentence

    def health(self, monotonic_s: float) -> SinkHealth:
        """The state at `monotonic_s` [s]."""
        with self._lock:
            age_s = None if self._confirmed_s is None else monotonic_s - self._confirmed_s
            fresh = age_s is not None and age_s <= self._max_age_s
            detail = "; ".join(said for said in (self._trouble, self._remark) if said)
            if not detail and not fresh:
                detail = (
                    "nothing has been confirmed yet"
                    if age_s is None
                    else (f"nothing has been confirmed for {age_s:.0f} s")
                )
            return SinkHealth(fresh and not self._trouble, age_s, self._errors, detail)
