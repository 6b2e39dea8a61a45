"""The times under which a tank's records are kept: forward only, one millisecond apart at least.

The fold needs an order that an export and a replay can reproduce, so no two acceptances share a
time and none lies before the last, whatever the wall clock does. Between acceptances time never
passes slower than the monotonic clock says: after a wall clock was set back, the old line goes on.
"""

from afterfill.records import Stamp

_GRID_S = 0.001


class Timeline:
    """One tank's time."""

    def __init__(self, last_s: float = 0.0) -> None:
        """`last_s`: time of the last record that is known [s]."""
        self._last_s = last_s
        self._boot_id = ""
        self._monotonic_s = 0.0

    def at(self, stamp: Stamp) -> float:
        """The time [s] for what is accepted at `stamp`; later than all before."""
        earliest_s = self._last_s + _GRID_S
        if stamp.boot_id == self._boot_id:
            passed_s = stamp.monotonic_s - self._monotonic_s
            earliest_s = self._last_s + max(passed_s - _GRID_S, _GRID_S)
        self._last_s = round(max(stamp.time_s, earliest_s) * 1000) / 1000
        self._boot_id, self._monotonic_s = stamp.boot_id, stamp.monotonic_s
        return self._last_s
