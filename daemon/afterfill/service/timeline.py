"""The times under which a tank's records are kept: forward only, one millisecond apart at least.

The fold needs an order that an export and a replay can reproduce, so no two acceptances share a
time and none lies before the last, whatever the wall clock does. Time follows the wall clock. Where
that lies behind what is recorded already (it was set back, or was wrong before a restart), time
goes on with the monotonic clock, a little slower, until the wall clock has caught up.

Threads stamp what they read and hand it over later, so stamps come in any order; one that is older
than the newest is kept just after the last record, and moves nothing.
"""

from afterfill.records import Stamp

_GRID_S = 0.001
_SLEW = 0.05  # share of the time that passes by which a lead is worked off: our judgement


class Timeline:
    """One tank's time."""

    def __init__(self, last_s: float = 0.0) -> None:
        """`last_s`: time of the last record that is known [s]."""
        self._last_s = last_s
        self._now_s = last_s  # this line's idea of the time at `_monotonic_s` of `_boot_id`
        self._boot_id = ""
        self._monotonic_s = 0.0

    def at(self, stamp: Stamp) -> float:
        """The time [s] for what is accepted at `stamp`; later than all before."""
        self._follow(stamp)
        time_s = max(self._now_s, self._last_s + _GRID_S)
        self._last_s = round(time_s * 1000) / 1000
        return self._last_s

    def ahead_s(self, stamp: Stamp) -> float:
        """By how much [s] this line lies ahead of the wall clock at `stamp`; 0 when it does not."""
        return max(self._last_s - stamp.time_s, 0.0)

    def _follow(self, stamp: Stamp) -> None:
        passed_s = stamp.monotonic_s - self._monotonic_s
        if stamp.boot_id != self._boot_id:
            passed_s = 0.0
        elif passed_s < 0.0:
            return
        lead_s = self._now_s + passed_s - stamp.time_s
        self._now_s = stamp.time_s
        if lead_s > 0.0:
            self._now_s += lead_s - min(lead_s, _SLEW * passed_s)
        self._boot_id, self._monotonic_s = stamp.boot_id, stamp.monotonic_s
