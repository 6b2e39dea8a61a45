"""What the inference is told about one tank and its water before any reading: plain numbers."""

from dataclasses import dataclass

from afterfill.inference.model.electrode import LOGARITHMIC, ElectrodeLaw
from afterfill.records.words import Disinfectant, SourceKind


@dataclass(frozen=True, slots=True)
class Water:
    """The source water at the tap. Chlorine mg/L as Cl2, ammonia mg/L as N, degrees C. `name`: of
    the source in the configuration; `sigma`, `breakthrough`: the doubt about its strength (standard
    deviation of the logarithm) and about its filter, where something has taught them; `kind`: as it
    comes, behind a filter or after standing; `raw_mg_l`: before the filter; `cartridge_litres`:
    what its cartridge treats; `since_s` [s]: since when it is so, what was learnt before is of
    another water."""

    disinfectant: Disinfectant = "unknown"
    residual_mg_l: float = 1.0
    residual_max_mg_l: float = 2.0
    ammonia_mg_l: float | None = None
    chlorine_to_nitrogen: float = 4.5
    temperature_c: float | None = None
    ph: float | None = None
    standing_hours: float = 0.0
    name: str = ""
    sigma: float | None = None
    breakthrough: float | None = None
    kind: SourceKind = "tap"
    raw_mg_l: float | None = None
    cartridge_litres: float | None = None
    since_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Setup:
    """One tank: its name, full volume [L], the limit of its residual [mg/L], its default source and
    the strength of its neutraliser [mg Cl2 per mL], None where not known; `law`: how its electrode
    is taken to answer; `particles`: by what the usual numbers of particles are multiplied;
    `untold`: how likely it is that raw water makes up for what evaporates and nothing is told."""

    tank: str
    litres: float
    limit_mg_l: float
    water: Water = Water()
    mg_cl2_per_ml: float | None = None
    law: ElectrodeLaw = LOGARITHMIC
    particles: int = 1
    untold: float = 0.0


@dataclass(frozen=True, slots=True)
class Pour:
    """Water that went in, as said or suspected. Times in Unix seconds; None where not known.

    `announced` is false when only the readings suggest it.
    """

    time_s: float
    announced: bool
    water: Water
    litres: float | None = None
    minutes: float | None = None
    neutraliser_ml: float | None = None
