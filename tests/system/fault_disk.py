"""The disk refuses: full, read-only, failing. `afterfill run` goes on, and says what was."""

import errno
import resource
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from system.failing_calls import failing_calls, fails_at
from system.failing_story import acted, balance
from system.fault_row import Row, told
from system.ledger import Balance, compared, of_alarms, of_doses
from system.live_service import LiveService

_LATCHED = ("unacknowledged", False)
_SPEED = 10.0


def calls_refused(times: int, folder: Path, refusal: str, fault: str) -> Row:
    """Every write of SQLite ends with this errno for a while, in the running service."""

    @contextmanager
    def refusing(service: LiveService) -> Iterator[None]:
        service.disk.write_text(refusal)
        yield
        service.disk.unlink()

    how = f"every write of the running service's SQLite answers {refusal} for seconds"
    return _refused(times, folder, fault, how, refusing)


def disk_full(times: int, folder: Path) -> Row:
    """No space left."""
    return calls_refused(times, folder, "ENOSPC", "full disk")


def card_read_only(times: int, folder: Path) -> Row:
    """As after the kernel has made a failing card read-only."""
    return calls_refused(times, folder, "EROFS", "read-only card")


def card_failing(times: int, folder: Path) -> Row:
    """An I/O error at each write."""
    return calls_refused(times, folder, "EIO", "I/O errors")


def file_limited(times: int, folder: Path) -> Row:
    """The kernel's own refusal: the service's files may not grow, or hold, a byte more."""

    @contextmanager
    def limited(service: LiveService) -> Iterator[None]:
        before = resource.prlimit(service.pid, resource.RLIMIT_FSIZE)
        resource.prlimit(service.pid, resource.RLIMIT_FSIZE, (0, before[1]))
        yield
        resource.prlimit(service.pid, resource.RLIMIT_FSIZE, before)

    how = "RLIMIT_FSIZE 0 on the running process for seconds: the kernel answers EFBIG"
    return _refused(times, folder, "no room in files", how, limited)


def _refused(times: int, folder: Path, fault: str, how: str, refusing: object) -> Row:
    acknowledged: list[float] = []
    assert callable(refusing)
    with LiveService(folder, speed=_SPEED, every_s=5.0, commit_every_s=5.0) as service:
        service.start()
        service.wait_for_readings()
        for number in range(1, times + 1):
            with refusing(service):
                service.wait_for_said("waits in memory", number)
                if service.dose(number):  # the disk is the service's: this program can still write
                    acknowledged.append(number)
                time.sleep(0.5)
            service.wait_for_said("the journal is written again", number)
        service.wait_for(lambda: _LATCHED in service.alarms("journal-failing"), "the alarm")
        code, _ = service.stop()
        found = of_doses(service.journal, acknowledged)
        found += of_alarms(service.journal, service.config) + _gaps(service)
        heard = told(
            ("log", "waits in memory, trying again" in service.said()),
            ("alarm journal-failing", _LATCHED in service.alarms("journal-failing")),
            ("clean end", code == 0 and "died" not in service.said()),
        )
    return Row(fault, f"{how}; {found.of} commands and alarms", times, *found[:2], heard)


def _gaps(service: LiveService) -> Balance:
    """The numbers of the records run on: none is missing and none is twice."""
    numbers = [entry.seq for entry in service.entries()]
    return compared(range(numbers[0], numbers[-1] + 1), numbers)._replace(of=0)


def full_at_the_end(times: int, folder: Path) -> Row:
    """A disk that stays full over the stop: what was not written is said, not silently gone."""
    lost = spoken = 0
    with LiveService(folder) as service:
        for number in range(1, times + 1):
            service.start()
            service.wait_for_readings()
            kept = len(service.entries())
            service.disk.write_text("ENOSPC")
            service.wait_for_said("waits in memory", number)
            code, took_s = service.stop()
            service.disk.unlink()
            spoken += code == 3 and took_s < 5.0
            lost += len(service.entries()) < kept
        said = service.said().count("could not be written and are lost")
    heard = told(("log with their number", said == times), ("exit code 3 in time", spoken == times))
    how = "SIGTERM while every write answers ENOSPC; what was acknowledged stays"
    return Row("full disk over the stop", how, times, lost, 0, heard)


def every_call(times: int, folder: Path) -> Row:
    """The n-th system call of SQLite fails, for every n up to the last (or `times` of them)."""
    with_none, asked = fails_at(0)
    with failing_calls(with_none):
        acted(folder / "whole")
    step = max(asked[0] // times, 1) if times else 1
    found, runs, said = Balance(0, 0, 0), 0, 0
    for failure in (errno.ENOSPC, errno.EIO, errno.EROFS):
        for nth in range(1, asked[0] + 1, step):
            decide, _ = fails_at(nth, failure)
            with failing_calls(decide):
                done = acted(folder / f"{failure}-{nth}")
            found += balance(done)
            said += bool(done.told)
            runs += 1
    how = f"each n-th of SQLite's {asked[0]} system calls answers ENOSPC, EIO or EROFS"
    heard = told((f"one sentence in {said}, in the others SQLite mended it itself", said))
    return Row("n-th system call", how, runs, found.lost, found.doubled, heard)
