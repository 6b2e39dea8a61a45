"""The reactions of chlorine and ammonia in water, and their rate constants at given conditions.

The scheme of Jafvert & Valentine 1992 (Environ. Sci. Technol. 26:577-586) and Vikesland, Ozekin &
Valentine 2001 (Water Res. 35:1766-1776) with the constants of constants.SCHEME_RATES; the papers
were not read. Two constants are unsettled: k3 may be a fifth slower (280 L/mol/s at 25 degrees C:
the same code's remark, and EPANET-MSX 2.0), and k5_hco3 rises suspiciously with warmth.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from math import exp
from typing import NamedTuple

import numpy as np

from afterfill.chemistry import constants
from afterfill.chemistry.constants import CACO3, KELVIN
from afterfill.chemistry.domain import within
from afterfill.chemistry.rosenbrock import Network

SPECIES = ("free", "ammonia", "mono", "di", "tri", "intermediate", "nitrogen")  # N2, NO3-
CHLORINES = (1.0, 0.0, 1.0, 2.0, 3.0, 0.0, 0.0)  # active Cl of each species


class Reaction(NamedTuple):
    """What sets the rate (one or two species), and what one event adds."""

    pair: tuple[str, ...]
    change: Mapping[str, float]


REACTIONS = (
    Reaction(("free", "ammonia"), {"free": -1, "ammonia": -1, "mono": 1}),
    Reaction(("mono",), {"mono": -1, "free": 1, "ammonia": 1}),
    Reaction(("free", "mono"), {"free": -1, "mono": -1, "di": 1}),
    Reaction(("di",), {"di": -1, "free": 1, "mono": 1}),
    Reaction(("mono", "mono"), {"mono": -2, "di": 1, "ammonia": 1}),
    Reaction(("di", "ammonia"), {"di": -1, "ammonia": -1, "mono": 2}),
    Reaction(("di",), {"di": -1, "intermediate": 1}),
    Reaction(("intermediate", "di"), {"intermediate": -1, "di": -1, "free": 1, "nitrogen": 2}),
    Reaction(("intermediate", "mono"), {"intermediate": -1, "mono": -1, "nitrogen": 2}),
    Reaction(("mono", "di"), {"mono": -1, "di": -1, "nitrogen": 2}),
    Reaction(("free", "di"), {"free": -1, "di": -1, "tri": 1}),
    Reaction(("di", "tri"), {"di": -1, "tri": -1, "free": 2, "nitrogen": 2}),
    Reaction(("mono", "tri"), {"mono": -1, "tri": -1, "free": 1, "nitrogen": 2}),
    Reaction(("di", "free"), {"di": -1, "free": -2, "nitrogen": 1}),
    Reaction(("free",), {"free": -1}),  # demand of the water's organics
    Reaction(("mono",), {"mono": -1, "ammonia": 1}),  # the same for combined chlorine,
    Reaction(("di",), {"di": -1, "ammonia": 1}),  # which gives its ammonia back
)


@dataclass(frozen=True, slots=True)
class Conditions:
    """Water in which it happens: pH 6-10, 0-35 degrees C, alkalinity 0-1000 mg/L as CaCO3, and the
    first-order demands of its organics for free and for combined chlorine [1/h, 0-1000]."""

    ph: float
    temperature_c: float
    alkalinity_mg_l_caco3: float = 80.0
    free_demand_per_h: float = 0.0
    combined_demand_per_h: float = 0.0


@dataclass(frozen=True, slots=True)
class Ions:
    """Concentrations [mol/L] and shares (hocl, nh3) that the rates need."""

    hydrogen: float
    hydroxide: float
    hocl: float
    nh3: float
    h2co3: float
    hco3: float
    co3: float


def ions(conditions: Conditions) -> Ions:
    """Ions and shares by the equilibria that belong to these rate constants.

    They differ a little from acid_base (pK of HOCl by 0.02): a fitted scheme keeps its own. Raises
    ModelDomainError outside the ranges of `Conditions`.

    >>> round(ions(Conditions(7.5, 25.0)).hocl, 4)
    0.5315
    """
    _check(conditions)
    k_hocl, k_nh4, k_h2co3, k_hco3, k_w = _equilibria(conditions.temperature_c)
    h = 10.0**-conditions.ph
    alkalinity = conditions.alkalinity_mg_l_caco3 / (500.0 * CACO3.value)
    one, two = k_h2co3 / h, k_h2co3 * k_hco3 / (h * h)
    acid = max(0.0, alkalinity - k_w / h + h) / (one + 2.0 * two)
    return Ions(h, k_w / h, h / (h + k_hocl), k_nh4 / (h + k_nh4), acid, one * acid, two * acid)


def rate_constants(conditions: Conditions) -> tuple[float, ...]:
    """Rate constants of REACTIONS for total species [L/mol/s or 1/s].

    Catalysis of the eleventh reaction by OCl- is left out: third order, under 1 % of it. Raises
    ModelDomainError outside the ranges of `Conditions`.

    >>> f"{rate_constants(Conditions(7.5, 25.0))[1]:.2e}"
    '2.10e-05'
    """
    i, k = ions(conditions), _rates_at(conditions.temperature_c)
    return (
        k["k1"] * i.hocl * i.nh3,
        k["k2"],
        k["k3"] * i.hocl,
        k["k4"],
        k["k5_h"] * i.hydrogen + k["k5_hco3"] * i.hco3 + k["k5_h2co3"] * i.h2co3,
        k["k6"] * i.hydrogen * i.nh3,
        k["k7"] * i.hydroxide,
        k["k8"],
        k["k9"],
        k["k10"],
        (k["k11_oh"] * i.hydroxide + k["k11_co3"] * i.co3) * i.hocl,
        k["k12"] * i.hydroxide,
        k["k13"] * i.hydroxide,
        k["k14"] * (1.0 - i.hocl),
        conditions.free_demand_per_h / 3600.0,
        conditions.combined_demand_per_h / 3600.0,
        conditions.combined_demand_per_h / 3600.0,
    )


def network(conditions: Conditions) -> Network:
    """The scheme at the conditions, for the integrator; amounts in mol/L.

    Raises ModelDomainError outside the ranges of `Conditions`.

    >>> network(Conditions(7.5, 25.0)).stoichiometry.shape
    (7, 17)
    """
    one = len(SPECIES)
    pairs = [[SPECIES.index(s) for s in r.pair] + [one] * (2 - len(r.pair)) for r in REACTIONS]
    return Network(
        np.array(rate_constants(conditions)),
        np.array([p[0] for p in pairs]),
        np.array([p[1] for p in pairs]),
        np.array([[float(r.change.get(s, 0)) for r in REACTIONS] for s in SPECIES]),
    )


def _check(conditions: Conditions) -> None:
    within("pH", conditions.ph, 6.0, 10.0)
    within("temperature", conditions.temperature_c, 0.0, 35.0, "°C")
    within("alkalinity", conditions.alkalinity_mg_l_caco3, 0.0, 1000.0, "mg/L as CaCO3")
    within("demand for free chlorine", conditions.free_demand_per_h, 0.0, 1000.0, "1/h")
    within("demand for combined chlorine", conditions.combined_demand_per_h, 0.0, 1000.0, "1/h")


@lru_cache(maxsize=64)
def _equilibria(temperature_c: float) -> tuple[float, ...]:
    t = temperature_c + KELVIN
    polynomials = (e.values for e in constants.SCHEME_EQUILIBRIA)
    return tuple(10.0 ** -((a * t + b) * t + c) for a, b, c in polynomials)


@lru_cache(maxsize=64)
def _rates_at(temperature_c: float) -> dict[str, float]:
    rates = {name: rate.values for name, rate in constants.SCHEME_RATES.items()}
    return {name: a * exp(-e / (temperature_c + KELVIN)) for name, (a, e) in rates.items()}
