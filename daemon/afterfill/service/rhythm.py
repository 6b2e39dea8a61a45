"""How often the core commits: rarely, to spare the card, but often while a person looks."""

from afterfill.records import Stamp

WATCH_EVERY_S = 10.0  # a keeper who has just poured looks now; our judgement
_LENT_EVERY_S = 0.0  # each turn of the core that brought something
_SNAPSHOT_EVERY_S = 3600.0  # one writes some 40 kB and saves folding an hour again at a restart
_ALL_TANKS_EVERY_S = 900.0  # with many tanks a restart has to fold all of them


class Rhythm:
    """When what is pending is committed, and when it is flushed to the disk besides.

    A commit without a flush costs next to nothing beside the writing that the kernel does anyway,
    some 30 s later at most; until then a power cut undoes it. Times are monotonic seconds.
    """

    def __init__(self, commit_every_s: float) -> None:
        self._commit_every_s = commit_every_s
        self._pending_since_s: float | None = None
        self._unflushed_since_s: float | None = None

    def pending(self, stamp: Stamp) -> None:
        """Something waits from now on."""
        if self._pending_since_s is None:
            self._pending_since_s = stamp.monotonic_s
        if self._unflushed_since_s is None:
            self._unflushed_since_s = stamp.monotonic_s

    def committed(self, *, flush: bool) -> None:
        """Nothing waits any more."""
        self._pending_since_s = None
        if flush:
            self._unflushed_since_s = None

    def flush_due(self, stamp: Stamp) -> bool:
        """Whether it is time for a commit that outlives a power cut."""
        return _passed(self._unflushed_since_s, self._commit_every_s, stamp)

    def commit_due(self, stamp: Stamp, *, watched: bool, lent: bool = False) -> bool:
        """Whether it is time to let others see; `watched`: a refill is; `lent`: a probe is out of
        the tank, and the command that holds it reads along."""
        if lent:
            return _passed(self._pending_since_s, _LENT_EVERY_S, stamp)
        return watched and _passed(self._pending_since_s, WATCH_EVERY_S, stamp)


def snapshot_every_s(tanks: int) -> float:
    """Seconds [s] between two snapshots of one of `tanks` tanks in quiet."""
    return max(_ALL_TANKS_EVERY_S, _SNAPSHOT_EVERY_S / tanks)


def _passed(since_s: float | None, every_s: float, stamp: Stamp) -> bool:
    return since_s is not None and stamp.monotonic_s - since_s >= every_s
