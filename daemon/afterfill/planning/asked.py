"""What a plan is made from: the tank, the source, the neutraliser and the refill, in plain numbers.

Chlorine is mg/L as Cl2, ammonia mg/L as N, alkalinity mg/L as CaCO3, volumes litres, temperature
degrees C. None is "not known": it stays unknown in the plan, which says what it would change.
"""

from dataclasses import dataclass
from typing import Literal

from afterfill.chemistry.constants_fish import LEAST_OXYGEN
from afterfill.chemistry.doses import DoseUnit
from afterfill.chemistry.standing import Interval

Disinfectant = Literal["chlorine", "chloramine", "unknown"]
DoseAt = Literal["line", "bucket", "tank"]
PLACES: tuple[DoseAt, ...] = ("bucket", "line", "tank")


@dataclass(frozen=True, slots=True)
class Tap:
    """The source at the tap. `uncombined_ammonia_mg_l` is ammonia beside the chloramine; without
    it the ratio of chlorine to nitrogen (by mass, 1-8) tells it."""

    disinfectant: Disinfectant = "unknown"
    residual_mg_l: float = 1.0
    residual_max_mg_l: float = 2.0
    chlorine_to_nitrogen: float = 4.5
    uncombined_ammonia_mg_l: float | None = None
    ph: float | None = None
    alkalinity_mg_l_caco3: float | None = None
    temperature_c: float | None = None


@dataclass(frozen=True, slots=True)
class TankBefore:
    """The tank before the refill, free of disinfectant. `litres` is its full volume."""

    litres: float
    ammonia_mg_l: Interval | None = None
    ph: float | None = None
    temperature_c: float | None = None
    alkalinity_mg_l_caco3: float | None = None


@dataclass(frozen=True, slots=True)
class Bottle:
    """A neutraliser: its agent, strength [mg Cl2 per mL], and the label's words, `label_ml` for
    `label_litres`, when the strength came from there; `name`: its own in the configuration.
    `unit`: what it is measured in, and what all its amounts count that are called mL."""

    agent: str = "other"
    mg_cl2_per_ml: float | None = None
    binds_ammonia: bool = False
    label_ml: float | None = None
    label_litres: float | None = None
    name: str = ""
    unit: DoseUnit = "mL"


@dataclass(frozen=True, slots=True)
class Bounds:
    """The limits that the tank must keep: residual, un-ionised ammonia, pH, temperature, and the
    least oxygen [mg/L]; beside them where two of the figures come from."""

    residual_oxidant_mg_l: float
    free_ammonia_mg_l: float
    ph: tuple[float, float]
    temperature_c: tuple[float, float]
    oxygen_mg_l: float = LEAST_OXYGEN.value
    residual_source: str = ""
    free_ammonia_source: str = ""
    oxygen_source: str = f"US EPA 1986, {LEAST_OXYGEN.status}"


@dataclass(frozen=True, slots=True)
class Asked:
    """The refill that is meant: litres poured, how, where the neutraliser goes, and how many hours
    the water stands in an open vessel before. `dose_ml` is a dose of the keeper's own."""

    litres: float
    mode: Literal["replace", "add"] = "replace"
    dose_at: DoseAt = "bucket"
    standing_hours: float = 0.0
    dose_ml: float | None = None
