"""What a plan takes a source to hold: what tests and refills taught, else the configuration."""

from dataclasses import dataclass

from afterfill.cli.configured import reading_journal
from afterfill.cli.source import Sourced, sources_of
from afterfill.cli.times import present_s
from afterfill.config import Config
from afterfill.config_source import Source
from afterfill.errors import JournalError
from afterfill.inference.source import believed, level_of
from afterfill.records.words import Disinfectant
from afterfill.service.liveness import liveness
from afterfill.tank_setup import water_at


@dataclass(frozen=True, slots=True)
class Held:
    """A source as it comes, or stored water as it stands: total chlorine [mg/L as Cl2] in the
    middle and at most (95 % point); `origin`: what it rests on beside the configuration's own
    words, empty where on nothing else."""

    disinfectant: Disinfectant
    residual_mg_l: float
    most_mg_l: float
    standing_hours: float
    origin: str = ""


def held_by(config: Config, tank: str, source: Source | None) -> Held:
    """What `source` of a tank is believed to hold now; as by default where nothing is."""
    table = Source() if source is None else source
    name = next((name for name, it in config.source.items() if it is source), "")
    now_s = present_s()
    water = water_at(table, name, now_s)
    it = _told(config, tank, name)
    is_of_it = it is not None and (
        (it.believed.learnt_s or 0.0) >= max(water.since_s, 1.0)
        or (water.kind == "filtered" and it.believed.time_s >= water.since_s)
    )
    if it is not None and is_of_it:
        _, middle, high = it.believed.residual_mg_l
        hours = 0.0 if water.kind == "stored" else table.standing_hours
        return Held(it.believed.disinfectant, middle, high, hours, it.origin())
    if water.kind == "tap":
        came = any(change.from_s <= now_s for change in table.change)
        typical_mg_l = water.residual_mg_l if came else table.residual_mg_l
        most_mg_l = max(water.residual_max_mg_l, typical_mg_l)
        origin = "configuration, as changed on its day" if came else ""
        return Held(water.disinfectant, typical_mg_l, most_mg_l, table.standing_hours, origin)
    level = level_of(believed(water, None, now_s))
    return Held(water.disinfectant, level.q50, level.q95, 0.0, f"configuration: {water.kind} water")


def _told(config: Config, tank: str, name: str) -> Sourced | None:
    path = config.journal.path
    try:
        with reading_journal(path) as journal:
            return sources_of(journal, tank, [name], liveness(path)).get(name)
    except JournalError:
        return None
