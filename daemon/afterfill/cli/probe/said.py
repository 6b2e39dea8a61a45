"""What the keeper said of a probe that is to be held in liquids, as typed."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Which:
    """The probe that is meant: of which tank, by which name, of which configuration."""

    tank: str | None
    probe: str | None
    config: Path | None


@dataclass(frozen=True, slots=True)
class Patience:
    """How long a value must stand still [s], between readings [s], and for how long at most [s]."""

    still_s: float
    every_s: float
    most_s: float


@dataclass(frozen=True, slots=True)
class Liquids:
    """Buffers for a pH probe; for an ORP probe a standard, or what it must show [mV]."""

    buffers: Sequence[str] | None
    standard: str | None
    standard_mv: float | None
    temperature: str | None


@dataclass(frozen=True, slots=True)
class RawWater:
    """Total chlorine by a test [mg/L as Cl2] and pH, as far as known, and the source's name."""

    residual_mg_l: float | None
    ph: float | None
    source: str | None
