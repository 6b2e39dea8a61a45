"""The kernel gives the service no more memory for a while."""

import resource
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from system.fault_row import Row, told
from system.ledger import of_alarms, of_doses
from system.live_service import LiveService

# Small blocks come from the kernel and go back to it at once, so that a cap is felt at once.
_THRIFTY = {
    "MALLOC_ARENA_MAX": "1", "MALLOC_MMAP_THRESHOLD_": "4096", "MALLOC_TRIM_THRESHOLD_": "0",
    "MALLOC_TOP_PAD_": "0",
}  # fmt: skip


@contextmanager
def _capped(pid: int) -> Iterator[None]:
    limits = (resource.RLIMIT_AS, resource.RLIMIT_DATA)
    before = [resource.prlimit(pid, limit) for limit in limits]
    for limit, (_, hard) in zip(limits, before, strict=True):
        resource.prlimit(pid, limit, (1 << 20, hard))
    yield
    for limit, was in zip(limits, before, strict=True):
        resource.prlimit(pid, limit, was)


def memory_capped(times: int, folder: Path) -> Row:
    """Address space and data far below what is in use: what needs the kernel's memory fails."""
    acknowledged: list[float] = []
    with LiveService(folder, speed=60.0, every_s=10.0, commit_every_s=20.0) as service:
        clean = 0
        for number in range(1, times + 1):
            service.start(**_THRIFTY)  # again: a core that keeps dying is tried ever more seldom
            service.wait_for_readings()
            with _capped(service.pid):
                if service.dose(number):
                    acknowledged.append(number)
                service.command("log", "refill", "--litres", "25")
                time.sleep(2.0)
            service.wait_for_readings()
            service.wait_for(lambda: _doses(service) >= len(acknowledged), "the doses")
            service.wait_for(lambda: _told_by_health(service), "a thread's death in the health")
            clean += service.stop()[0] == 0
        found = of_doses(service.journal, acknowledged)
        found += of_alarms(service.journal, service.config)
        said = service.said()
    heard = told(
        ("log", "thread 'core' died" in said and "MemoryError" in said), ("health", True),
        ("clean end", clean == times),
    )  # fmt: skip
    how = f"RLIMIT_AS and _DATA of 1 MB on the running process; {found.of} commands and alarms"
    return Row("memory capped", how, times, found.lost, found.doubled, heard)


def _doses(service: LiveService) -> int:
    return len(service.records("dose"))


def _told_by_health(service: LiveService) -> bool:
    return any(h.component == "thread core" and h.errors for h in service.records("health"))
