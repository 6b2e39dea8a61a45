"""The disk takes nothing for a while: since when, when to try again, and what is said of it."""

import logging
from dataclasses import dataclass, field

from afterfill.back_off import BackOff
from afterfill.records import Stamp

_log = logging.getLogger(__name__)
_PAUSES_S = (1.0, 15.0)


@dataclass
class Outage:
    """One thread only. All intervals are on the stamps' monotonic seconds."""

    since: Stamp | None = None
    failures: int = 0
    detail: str = "the disk takes what is to be recorded"
    _again_s: float = 0.0
    _pauses: BackOff = field(default_factory=lambda: BackOff(*_PAUSES_S))

    @property
    def holds(self) -> bool:
        """True from the second failure on: one alone is often a card that stalls."""
        return self.since is not None and self.failures > 1

    def may_try(self, stamp: Stamp) -> bool:
        """Whether it is time to write again."""
        return self.since is None or stamp.monotonic_s >= self._again_s

    def failed(self, sentence: str, stamp: Stamp) -> None:
        """Writing failed at `stamp`."""
        if self.since is None:
            _log.error("%s; what is found waits in memory, trying again", sentence)
            self.since, self.failures = stamp, 0
        self.failures += 1
        self.detail = sentence
        self._again_s = stamp.monotonic_s + self._pauses.failed()

    def worked(self, stamp: Stamp) -> None:
        """Writing worked at `stamp`."""
        if self.since is None:
            return
        lasted_s = stamp.monotonic_s - self.since.monotonic_s
        _log.warning("the journal is written again, after %.0f s", lasted_s)
        self.detail = f"for {lasted_s:.0f} s nothing could be recorded: {self.detail}"
        self.since, self.failures = None, 0
        self._pauses.worked()
