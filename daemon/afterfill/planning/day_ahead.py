"""The day ahead: how far pH may rise as carbon dioxide leaves, and what ammonia fish bear there."""

from dataclasses import dataclass

from afterfill.chemistry.carbonate import ph_over_hours
from afterfill.chemistry.carbonate_system import Totals, closed
from afterfill.chemistry.constants import CO2_EXCHANGE_AERATED
from afterfill.chemistry.constants_fish import AMMONIA_ACUTE
from afterfill.chemistry.toxicity import ammonia_acute_mg_l, ammonia_chronic_mg_l
from afterfill.errors import ModelDomainError

DAY_H = 24.0


@dataclass(frozen=True, slots=True)
class PhAhead:
    """pH at once, and after 24 h in the gas exchange of a still tank and of an aerated one; the
    rates are own judgement (chemistry.constants.CO2_EXCHANGE_QUIET, CO2_EXCHANGE_AERATED)."""

    now: float
    still: float
    aerated: float

    @property
    def highest(self) -> float:
        """The highest pH of those 24 h: it goes one way."""
        return max(self.now, self.still, self.aerated)


def ph_ahead(water: Totals) -> PhAhead:
    """The day ahead of a water beside outdoor air; what breathes in it is not counted, which is the
    high side. Raises ModelDomainError when no pH between 2 and 12 fits."""
    (still,) = ph_over_hours(water, [DAY_H])
    (aerated,) = ph_over_hours(water, [DAY_H], CO2_EXCHANGE_AERATED.value)
    return PhAhead(closed(water).ph, still, aerated)


@dataclass(frozen=True, slots=True)
class AmmoniaCriteria:
    """EPA's criteria for total ammonia [mg/L as N] at a pH and temperature, and their source: not
    to be exceeded by the mean of an hour (acute), and of thirty days (chronic)."""

    ph: float
    temperature_c: float
    acute_mg_l: float
    chronic_mg_l: float
    source: str = f"{AMMONIA_ACUTE.source} ({AMMONIA_ACUTE.status})"

    @property
    def words(self) -> str:
        """The two in words."""
        return (
            f"EPA's criteria of 2013 at pH {self.ph:.1f} are {self.acute_mg_l:.2g} mg/L as N of "
            f"total ammonia for an hour and {self.chronic_mg_l:.2g} for thirty days (EPA "
            f"822-R-13-001, {AMMONIA_ACUTE.status})"
        )


def criteria_at(ph: float, temperature_c: float) -> AmmoniaCriteria | None:
    """The criteria at a pH and temperature [degrees C]; None outside pH 6.5-9 and 0-30."""
    try:
        acute, chronic = (f(ph, temperature_c) for f in (ammonia_acute_mg_l, ammonia_chronic_mg_l))
    except ModelDomainError:
        return None
    return AmmoniaCriteria(ph, temperature_c, acute, chronic)
