"""What the keeper asks and says, as typed."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Asking:
    """The refill to be planned, or with `rescue` the residual that a kit found [mg/L as Cl2]."""

    litres: str | None
    share: str | None
    mode: str
    dose_at: str
    dose_ml: float | None
    standing_hours: float | None
    rescue: bool
    residual_mg_l: float | None


@dataclass(frozen=True, slots=True)
class Said:
    """What is known of the tank and the water."""

    ammonia_mg_l: float | None = None
    ph: float | None = None
    temperature: str | None = None
    source_temperature: str | None = None
    source: str | None = None
