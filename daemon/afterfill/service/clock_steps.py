"""Says that the wall clock was set while the service runs, or that records are dated ahead."""

import logging

from afterfill.records import Health, Stamp

_log = logging.getLogger(__name__)
_STEP_S = 30.0  # a time daemon slews less than this away (our judgement)
_AHEAD_S = 60.0  # a smaller lead is worked off within the half hour


class ClockSteps:
    """Compares the wall clock with the monotonic one from look to look. One thread only."""

    def __init__(self) -> None:
        self._before: Stamp | None = None
        self._said_ahead = False

    def look(self, stamp: Stamp, tank: str, ahead_s: float = 0.0) -> list[Health]:
        """What there is to tell, with `tank`: that the clock was set since the last look, and,
        once, that records are dated `ahead_s` [s] ahead of it."""
        said = [*self._step(stamp), *self._ahead(ahead_s)]
        for sentence in said:
            _log.warning("%s", sentence)
        return [
            Health(stamp.time_s, tank, "clock", stamp.synchronised, None, 1, sentence)
            for sentence in said
        ]

    def _step(self, stamp: Stamp) -> list[str]:
        before, self._before = self._before, stamp
        if before is None or before.boot_id != stamp.boot_id:
            return []
        passed_s = stamp.monotonic_s - before.monotonic_s
        step_s = stamp.time_s - before.time_s - passed_s
        if abs(step_s) < _STEP_S:
            return []
        way = "forward" if step_s > 0 else "back"
        return [f"the clock was set {way} by {abs(step_s):.0f} s; intervals do not depend on it"]

    def _ahead(self, ahead_s: float) -> list[str]:
        is_ahead, said = ahead_s > _AHEAD_S, self._said_ahead
        self._said_ahead = is_ahead
        if not is_ahead or said:
            return []
        return [
            f"the journal's newest records are dated {ahead_s:.0f} s ahead of the clock: it was "
            "wrong when they were written, or is wrong now; new ones follow on them, and work the "
            "lead off by a twentieth of the time that passes"
        ]
