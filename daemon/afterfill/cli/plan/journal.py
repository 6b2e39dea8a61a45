"""What the journal knows of a tank that a plan can use, as long as it is fresh."""

from dataclasses import dataclass
from pathlib import Path

from afterfill.chemistry.standing import Interval
from afterfill.cli.configured import reading_journal
from afterfill.cli.latest import usable_readings
from afterfill.cli.spread import spread
from afterfill.cli.times import age
from afterfill.errors import JournalError
from afterfill.journal.newest import Newest, newest
from afterfill.planning.shown import Shown
from afterfill.records import Estimate, Reading
from afterfill.service.liveness import Liveness, liveness

FRESH_S = 3600.0  # between refills pH, temperature and ammonia move over hours; our judgement
PH, TEMPERATURE, AMMONIA = "tank's pH", "tank's temperature", "tank's ammonia"


@dataclass(frozen=True, slots=True)
class Used:
    """One figure that a plan stands on, and where it came from."""

    what: str
    value: str
    origin: str


@dataclass(frozen=True, slots=True)
class Seen:
    """The newest pH, temperature and total ammonia [mg/L as N], None where not fresh."""

    ph: float | None = None
    temperature_c: float | None = None
    ammonia_mg_l: Interval | None = None
    used: tuple[Used, ...] = ()


def seen_by(path: Path, name: str, shown: Shown) -> Seen:
    """What the journal at `path` knows of a tank; nothing when it cannot be read."""
    probes = [f"{name}-ph", f"{name}-temperature"]
    try:
        with reading_journal(path) as journal:
            readings = usable_readings(journal, name, probes)
            estimate = newest(journal, Estimate, name)
    except JournalError:
        return Seen()
    live, used = liveness(path), []
    ph, celsius = (_value(readings.get(probe), live) for probe in probes)
    total = None
    if ph is not None:
        used.append(Used(PH, f"{ph:.2f}", f"journal{_old(readings[probes[0]], live)}"))
    if celsius is not None:
        text, old = shown.temperature(celsius), _old(readings[probes[1]], live)
        used.append(Used(TEMPERATURE, text, f"journal{old}"))
    if estimate is not None and live.age_s(estimate.stamp) <= FRESH_S:
        total = Interval(*estimate.record.total_ammonia_mg_l)
        text, old = f"{spread(total)} mg/L as N", _old(estimate, live)
        used.append(Used(AMMONIA, text, f"journal's estimate{old}"))
    return Seen(ph, celsius, total, tuple(used))


def _value(known: Newest[Reading] | None, live: Liveness) -> float | None:
    return None if known is None or live.age_s(known.stamp) > FRESH_S else known.record.value


def _old(known: Newest[Reading] | Newest[Estimate], live: Liveness) -> str:
    return f", {age(live.age_s(known.stamp))} old"
