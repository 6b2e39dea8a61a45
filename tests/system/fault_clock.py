"""The wall clock: none at boot and then years on, an hour back, the hour that summer time ends."""

from datetime import UTC, datetime
from functools import partial
from itertools import pairwise
from pathlib import Path
from typing import Any

from afterfill.records import MachineState, Reading, Tick
from system.fault_row import Row, told
from system.ledger import compared, of_alarms, of_doses
from system.live_service import LiveService

_BEGIN = 1000.0  # monotonic seconds at which each story begins
_STEP, _END = _BEGIN + 420.0, _BEGIN + 600.0
_SPEED = 300.0
_ON_THE_LINE = (Reading, Tick, MachineState)  # what the service stamps itself


def no_clock_at_boot(times: int, folder: Path) -> Row:
    """1970 until the network comes, then today."""
    jump_s = datetime(2026, 3, 1, tzinfo=UTC).timestamp()
    clock = {"wall_s": 60.0, "jumps": ((_STEP, jump_s),), "synchronised_s": _STEP}
    how = "the clock stands in 1970 for 7 minutes, then jumps by 56 years"
    return _stepped("no clock at boot", how, times, folder, "set forward by", **clock)


def an_hour_back(times: int, folder: Path) -> Row:
    """A person, or a time server, corrects it."""
    wall_s = datetime(2026, 3, 1, 7, 30, tzinfo=UTC).timestamp()
    clock = {"wall_s": wall_s, "jumps": ((_STEP, -3600.0),)}
    how = "the clock is set back by an hour while the service runs"
    return _stepped("an hour back", how, times, folder, "set back by 3600 s", **clock)


def summer_time_ends(times: int, folder: Path) -> Row:
    """The local hour that comes twice; the service knows only UTC."""
    wall_s = datetime(2026, 10, 25, 0, 55, tzinfo=UTC).timestamp()
    how = "TZ=Europe/Berlin, run over 2026-10-25T01:00Z, when 02:00 to 03:00 comes twice"
    return _stepped("daylight saving", how, times, folder, None, wall_s=wall_s)


def _stepped(
    fault: str,
    how: str,
    times: int,
    folder: Path,
    said: str | None,
    **clock: Any,
) -> Row:
    lost = doubled = spoken = 0
    for number in range(times):
        at = folder / str(number)
        with LiveService(
            at, speed=_SPEED, every_s=10.0, commit_every_s=20.0, real_s=0.0, **clock
        ) as service:
            service.start(TZ="Europe/Berlin")
            acknowledged = [1.0] if service.dose(1.0) else []
            service.wait_for(partial(_is_over, service), "ten minutes pass", 60.0)
            service.stop()
            found = of_doses(service.journal, acknowledged)
            found += of_alarms(service.journal, service.config) + compared([], _times(service))
            lost += found.lost + _disordered(service)
            doubled += found.doubled
            spoken += said is None or service.said().count(said) == 1
    way = "nothing to tell: all times are UTC" if said is None else "log, once"
    return Row(fault, how, times, lost, doubled, told((way, spoken == times)))


def _is_over(service: LiveService) -> bool:
    stamps = [entry.stamp.monotonic_s for entry in service.entries("reading")]
    return bool(stamps) and stamps[-1] > _END


def _times(service: LiveService) -> list[tuple[float, str]]:
    """Time and probe of each reading: none may come twice."""
    return [(r.time_s, r.probe) for r in service.records("reading")]


def _disordered(service: LiveService) -> int:
    """Records whose time lies before that of one before them, or that came slower than the
    monotonic clock says by more than the twentieth in which a lead is worked off. What was stamped
    before the newest is kept just after it: the time that has passed counts from the newest."""
    entries = [e for e in service.entries() if isinstance(e.record, _ON_THE_LINE)]
    newest_s, disordered = entries[0].stamp.monotonic_s, 0
    for one, next_one in pairwise(entries):
        passed_s = max(next_one.stamp.monotonic_s - newest_s, 0.0)
        newest_s = max(newest_s, next_one.stamp.monotonic_s)
        stepped_s = next_one.record.time_s - one.record.time_s
        disordered += stepped_s < 0.95 * passed_s - 0.002
    return disordered
