"""How a tank stands, read for the page in one go."""

from dataclasses import dataclass

from afterfill.alarms.definitions import DEFINITIONS
from afterfill.cli.latest import alarms, usable_readings
from afterfill.cli.now.ready import Ready, ready_of
from afterfill.cli.standing import Stands, stands
from afterfill.config import Config
from afterfill.journal.newest import newest
from afterfill.journal.store import Journal
from afterfill.records import AlarmChange, Forecast, Quantity, Reading
from afterfill.service.liveness import liveness
from afterfill.tank_table import TankTable, tank_table

_RANK = {"high": 0, "medium": 1, "low": 2}


@dataclass(frozen=True, slots=True)
class Seen:
    """One tank at `now_s` [Unix s]. `alarms`: all that are not plainly normal, the gravest first;
    `readings`: the newest usable of each kind."""

    stands: Stands
    alarms: tuple[AlarmChange, ...]
    readings: dict[Quantity, Reading]
    forecast: Forecast | None
    ready: Ready
    table: TankTable
    now_s: float

    @property
    def holding(self) -> list[AlarmChange]:
        """Those whose condition holds and that are not put aside."""
        return [it for it in self.alarms if it.active and it.state in _OPEN]


def _how_grave(change: AlarmChange) -> tuple[bool, int, float]:
    danger = DEFINITIONS[change.alarm].danger
    return not danger, _RANK[change.priority], -change.time_s


_OPEN = ("unacknowledged", "acknowledged")


def seen(journal: Journal, config: Config, tank: str) -> Seen:
    """All that the page shows of `tank` now. Raises JournalError."""
    live = liveness(config.journal.path)
    it = stands(journal, config, tank, live)
    probes = {probe.name: probe.quantity for probe in config.probe if probe.tank == tank}
    read = usable_readings(journal, tank, probes)
    changes = [a for a in alarms(journal, tank, DEFINITIONS).values() if a.state != "normal"]
    changes.sort(key=_how_grave)
    ahead = newest(journal, Forecast, tank)
    return Seen(
        it, tuple(changes), {probes[name]: found.record for name, found in read.items()},
        None if ahead is None else ahead.record, ready_of(journal, it), tank_table(config, tank),
        live.now.time_s,
    )  # fmt: skip
