"""Says that the wall clock was set while the service runs: by how much, once."""

import logging

from afterfill.records import Health, Stamp

_log = logging.getLogger(__name__)
_STEP_S = 30.0  # a time daemon slews less than this away (our judgement)


class ClockSteps:
    """Compares the wall clock with the monotonic one from look to look. One thread only."""

    def __init__(self) -> None:
        self._before: Stamp | None = None

    def look(self, stamp: Stamp, tank: str) -> list[Health]:
        """What there is to tell, with `tank`: nothing unless the clock was set since last time."""
        before, self._before = self._before, stamp
        if before is None or before.boot_id != stamp.boot_id:
            return []
        passed_s = stamp.monotonic_s - before.monotonic_s
        step_s = stamp.time_s - before.time_s - passed_s
        if abs(step_s) < _STEP_S:
            return []
        way = "forward" if step_s > 0 else "back"
        said = f"the clock was set {way} by {abs(step_s):.0f} s; intervals do not depend on it"
        _log.warning("%s", said)
        return [Health(stamp.time_s, tank, "clock", stamp.synchronised, None, 1, said)]
