"""What the journal knows of a tank that a plan can use, as long as it is fresh."""

from dataclasses import dataclass
from pathlib import Path

from afterfill.chemistry.standing import Interval
from afterfill.cli.latest import newest_estimate, usable_readings
from afterfill.cli.options import reading_journal
from afterfill.cli.times import age, present_s
from afterfill.errors import JournalError
from afterfill.planning.shown import Shown
from afterfill.records import Estimate, Reading

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
    now_s, used = present_s(), []
    ph, celsius = (_fresh_value(readings.get(probe), now_s) for probe in probes)
    if ph is not None:
        origin = _origin(now_s - readings[probes[0]].time_s)
        used.append(Used(PH, f"{ph:.2f}", f"journal{origin}"))
    if celsius is not None:
        origin = _origin(now_s - readings[probes[1]].time_s)
        used.append(Used(TEMPERATURE, shown.temperature(celsius), f"journal{origin}"))
    total = _fresh_ammonia(estimate, now_s)
    if total is not None and estimate is not None:
        origin = _origin(now_s - estimate.time_s)
        used.append(Used(AMMONIA, ammonia_text(total), f"journal's estimate{origin}"))
    return Seen(ph, celsius, total, tuple(used))


def ammonia_text(total: Interval) -> str:
    """Total ammonia [mg/L as N] in words."""
    return f"{total.middle:.2g} ({total.low:.2g} to {total.high:.2g}) mg/L as N"


def _fresh_value(reading: Reading | None, now_s: float) -> float | None:
    return None if reading is None or now_s - reading.time_s > FRESH_S else reading.value


def _fresh_ammonia(estimate: Estimate | None, now_s: float) -> Interval | None:
    if estimate is None or now_s - estimate.time_s > FRESH_S:
        return None
    return Interval(*estimate.total_ammonia_mg_l)


def _origin(age_s: float) -> str:
    return f", {age(age_s)} old"
