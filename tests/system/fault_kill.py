"""Kill -9: of the journal's writer, and of the whole service with commands and alarms under way."""

import random
import time
from pathlib import Path

from system.fault_row import Row, told
from system.killing import killed
from system.ledger import Balance, of_alarms, of_doses
from system.live_service import LiveService

_SPEED, _ALARM_TURNS_S = 1000.0, 2.0  # half an hour of the fast clock


def writer_killed(times: int, folder: Path) -> Row:
    """The process that writes the journal."""
    folder.mkdir()
    found = killed(times, folder / "journal.db", seed=times)
    how = f"kill -9 of a writer at random moments, {found.acknowledged} acknowledgements"
    return Row("killed writer", how, times, found.lost, found.doubled, "not needed: nothing lost")


def service_killed(times: int, folder: Path) -> Row:
    """`afterfill run`, while people log doses and the pH leaves and enters its limits."""
    chance, acknowledged = random.Random(times), list[float]()
    with LiveService(folder, speed=_SPEED, every_s=100.0, commit_every_s=200.0) as service:
        for number in range(1, times + 1):
            service.water.sour = int(time.monotonic() / _ALARM_TURNS_S) % 2 == 1
            service.start()
            wait_s = chance.choice([0.3, 1.0, 2.0, 3.0])
            if number % 3 == 0 and service.dose(number):
                acknowledged.append(number)
            time.sleep(chance.uniform(0.0, wait_s))
            service.kill()
        service.water.sour = True
        service.start()
        service.wait_for_readings()
        service.wait_for(lambda: ("unacknowledged", True) in service.alarms("ph"), "the pH's alarm")
        code, _ = service.stop()
        assert code == 0, service.said()[-2000:]
        alarms = of_alarms(service.journal, service.config)
        found = of_doses(service.journal, acknowledged) + alarms
        raised = len([s for s, active in _changes(service) if active and s == "unacknowledged"])
    return _row(times, found, len(acknowledged), raised)


def _changes(service: LiveService) -> list[tuple[str, bool]]:
    return [(change.state, change.active) for change in service.records("alarm")]


def _row(times: int, found: Balance, commands: int, raised: int) -> Row:
    how = (
        f"kill -9 of `afterfill run`, {commands} acknowledged commands, {raised} alarms raised, "
        "compared with an undisturbed fold"
    )
    heard = told(("alarms in the journal, each once", raised))
    return Row("killed service", how, times, found.lost, found.doubled, heard)
