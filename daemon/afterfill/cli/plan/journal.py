"""What the journal knows of a tank that a plan can use, as long as it is fresh."""

from dataclasses import dataclass
from pathlib import Path

from afterfill.chemistry.standing import Interval
from afterfill.cli.configured import reading_journal
from afterfill.cli.latest import newest_estimate, usable_readings
from afterfill.cli.spread import spread
from afterfill.cli.times import age
from afterfill.errors import JournalError
from afterfill.journal.newest import Newest
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
            estimate = newest_estimate(journal, name)
    except JournalError:
        return Seen()
    live, used = liveness(path), []
    ph, celsius = (_fresh_value(readings.get(probe), live) for probe in probes)
    if ph is not None:
        origin = _origin(live.age_s(readings[probes[0]].stamp))
        used.append(Used(PH, f"{ph:.2f}", f"journal{origin}"))
    if celsius is not None:
        origin = _origin(live.age_s(readings[probes[1]].stamp))
        used.append(Used(TEMPERATURE, shown.temperature(celsius), f"journal{origin}"))
    total = _fresh_ammonia(estimate, live)
    if total is not None and estimate is not None:
        origin = _origin(live.age_s(estimate.stamp))
        used.append(Used(AMMONIA, f"{spread(total)} mg/L as N", f"journal's estimate{origin}"))
    return Seen(ph, celsius, total, tuple(used))


def _fresh_value(reading: Newest[Reading] | None, live: Liveness) -> float | None:
    if reading is None or live.age_s(reading.stamp) > FRESH_S:
        return None
    return reading.record.value


def _fresh_ammonia(estimate: Newest[Estimate] | None, live: Liveness) -> Interval | None:
    if estimate is None or live.age_s(estimate.stamp) > FRESH_S:
        return None
    return Interval(*estimate.record.total_ammonia_mg_l)


def _origin(age_s: float) -> str:
    return f", {age(age_s)} old"
