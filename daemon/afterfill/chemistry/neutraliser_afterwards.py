"""What becomes of a neutraliser in the days after: the oxygen and the alkalinity that it takes.

What is left over is oxidised by air and bacteria, and so are the products of thiosulfate and
ascorbate. Nothing is known of how fast bacteria do it in a tank; a day is taken as the mean.
"""

from dataclasses import dataclass

from afterfill.chemistry.constants import CACO3, CL2, CO2_EXCHANGE_QUIET, O2, Constant, N, Status
from afterfill.chemistry.domain import not_negative
from afterfill.chemistry.neutraliser_agents import AGENTS
from afterfill.errors import ModelDomainError

_MG_O2_PER_MOL = O2.value / CL2.value  # both per mg of Cl2-equivalent
_MG_CACO3_PER_PROTON = CACO3.value / 2.0 / CL2.value

SLOW_PER_H = Constant(
    1.0 / 24.0,
    "1/h",
    "bacteria on thiosulfate, tetrathionate and ascorbate; own judgement: over days (from memory)",
    "from memory",
)
NITRIFIED = Constant(
    CACO3.value / N.value,
    "mg CaCO3 per mg N",
    "NH4+ + 2 O2 -> NO3- + H2O + 2 H+, balanced",
    "computed",
)


@dataclass(frozen=True, slots=True)
class Oxidation:
    """What a fully oxidised agent took: molecules of O2, and protons given off, per Cl2 that it
    could still have taken (`surplus`) and per Cl2 that it had taken (`used`). `slow`: by bacteria
    over days; otherwise by air within minutes to hours."""

    oxygen_surplus: float
    protons_surplus: float
    oxygen_used: float
    protons_used: float
    slow: bool
    source: str
    status: Status


OXIDATIONS = {
    "thiosulfate": Oxidation(
        4.0,
        4.0,
        3.5,
        6.0,
        True,
        "S2O3-2 + 2 O2 + H2O -> 2 SO4-2 + 2 H+, two of them per Cl2; S4O6-2 + 3.5 O2 + 3 H2O -> "
        "4 SO4-2 + 6 H+; balanced",
        "computed",
    ),
    "sulfite": Oxidation(
        0.5, 0.0, 0.0, 0.0, False, "2 SO3-2 + O2 -> 2 SO4-2, balanced", "computed"
    ),
    "metabisulfite": Oxidation(
        0.5, 1.0, 0.0, 0.0, False, "2 HSO3- + O2 -> 2 SO4-2 + 2 H+, balanced", "computed"
    ),
    "ascorbate": Oxidation(
        5.0,
        0.0,
        4.5,
        0.0,
        True,
        "C6H8O6 + 5 O2 -> 6 CO2 + 4 H2O; dehydroascorbate C6H6O6 + 4.5 O2 -> 6 CO2 + 3 H2O; "
        "balanced; the alkalinity that sodium ascorbate gives back is not counted",
        "computed",
    ),
}


@dataclass(frozen=True, slots=True)
class Afterwards:
    """Per litre: all the oxygen [mg/L] that is taken in the end, the most of it that is missing at
    one time, and the alkalinity [mg/L as CaCO3] that is taken in the end."""

    oxygen_mg_l: float
    oxygen_missing_mg_l: float
    alkalinity_mg_l_caco3: float


def missing_share(taken_per_h: float, exchange_per_h: float) -> float:
    """The most of a first-order oxygen demand that is missing at one time, 0-1, where air brings
    oxygen back at `exchange_per_h`; both rates above 0.

    Source: Streeter & Phelps 1925, critical deficit of a demand without one at the start (from
    memory). Raises ModelDomainError for other rates.

    >>> round(missing_share(1.0 / 24.0, 0.2), 3)
    0.138
    """
    if not (taken_per_h > 0.0 and exchange_per_h > 0.0):
        raise ModelDomainError("rates of oxygen demand and exchange are above 0")
    ratio = taken_per_h / exchange_per_h
    if abs(ratio - 1.0) < 1e-6:
        return 0.36787944117144233  # 1/e, the limit
    return float(ratio ** (1.0 / (1.0 - ratio)))


def afterwards(agent: str, used_mg_l: float, surplus_mg_l: float) -> Afterwards:
    """What an agent takes in the end, of which `used_mg_l` removed chlorine and `surplus_mg_l` is
    left over [mg/L as the Cl2 it removed or could remove].

    Oxygen comes back as in a still tank. Of "other" it is the worst of the named agents, since its
    maker alone knows it. Raises ModelDomainError for unknown names and negative amounts.

    >>> it = afterwards("thiosulfate", 0.0, 1.0)
    >>> round(it.oxygen_mg_l, 2), round(it.alkalinity_mg_l_caco3, 2)
    (1.81, 2.82)
    """
    not_negative("used neutraliser", used_mg_l, "mg/L")
    not_negative("surplus", surplus_mg_l, "mg/L")
    if agent not in AGENTS:
        raise ModelDomainError(f"agent '{agent}' is not known: write one of {', '.join(AGENTS)}")
    named = [OXIDATIONS[agent]] if agent in OXIDATIONS else list(OXIDATIONS.values())
    oxygen = [_oxygen(it, used_mg_l, surplus_mg_l) for it in named]
    missing = [taken * _share(it) for it, taken in zip(named, oxygen, strict=True)]
    acid = [it.protons_used * used_mg_l + it.protons_surplus * surplus_mg_l for it in named]
    return Afterwards(max(oxygen), max(missing), _MG_CACO3_PER_PROTON * max(acid))


def is_slow(agent: str) -> bool:
    """Whether only bacteria take its surplus, over days; of "other" it is not known: False.

    >>> is_slow("thiosulfate"), is_slow("sulfite")
    (True, False)
    """
    return agent in OXIDATIONS and OXIDATIONS[agent].slow


def within_an_hour(agent: str, surplus_mg_l: float) -> Afterwards:
    """What so much surplus [mg/L as Cl2] takes of a water within an hour, no air coming in.

    As `afterwards`, of which this is the part of the first hour.

    >>> round(within_an_hour("sulfite", 60.0).oxygen_mg_l, 1)
    13.5
    """
    not_negative("surplus", surplus_mg_l, "mg/L")
    named = [OXIDATIONS[agent]] if agent in OXIDATIONS else list(OXIDATIONS.values())
    parts = [(it, SLOW_PER_H.value if it.slow else 1.0) for it in named]
    oxygen = max(part * _oxygen(it, 0.0, surplus_mg_l) for it, part in parts)
    acid = max(part * it.protons_surplus * surplus_mg_l for it, part in parts)
    return Afterwards(oxygen, oxygen, _MG_CACO3_PER_PROTON * acid)


def _oxygen(it: Oxidation, used_mg_l: float, surplus_mg_l: float) -> float:
    return _MG_O2_PER_MOL * (it.oxygen_used * used_mg_l + it.oxygen_surplus * surplus_mg_l)


def _share(it: Oxidation) -> float:
    return missing_share(SLOW_PER_H.value, CO2_EXCHANGE_QUIET.value) if it.slow else 1.0
