"""SIGTERM while a commit is under way: each write lingers, so that most stops hit one."""

import random
import time
from pathlib import Path

from system.fault_row import Row, told
from system.ledger import of_alarms, of_doses
from system.live_service import LiveService

_WITHIN_S = 5.0


def stopped_in_a_commit(times: int, folder: Path) -> Row:
    """Stops at random moments of a service that writes nearly always."""
    chance, acknowledged, clean = random.Random(times), list[float](), 0
    with LiveService(folder, speed=60.0, every_s=20.0, commit_every_s=0.0) as service:
        service.disk.write_text("slow")
        for number in range(1, times + 1):
            service.start()
            service.wait_for_said("running:", number)
            if number % 4 == 0 and service.dose(number):
                acknowledged.append(number)
            time.sleep(chance.uniform(0.0, 1.5))
            code, took_s = service.stop()
            clean += code == 0 and took_s < _WITHIN_S
        service.disk.unlink()
        found = of_doses(service.journal, acknowledged)
        found += of_alarms(service.journal, service.config)
    how = f"SIGTERM with writes of 4 ms each; {found.of} commands and alarms"
    heard = told((f"log, exit code 0 within {_WITHIN_S:g} s each time", clean == times))
    return Row("stop in a commit", how, times, found.lost, found.doubled, heard)
