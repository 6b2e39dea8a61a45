"""How much chlorine an amount of neutraliser removes, by agent and by the route it takes.

Masses are mg of agent per mg of active chlorine as Cl2; HOCl, OCl- and NH2Cl count alike. Each
agent's default route is the safe one, which removes the least chlorine per mg of agent.
"""

from dataclasses import dataclass
from typing import Literal

from afterfill.chemistry.domain import not_negative
from afterfill.errors import ModelDomainError

Agent = Literal["thiosulfate", "sulfite", "metabisulfite", "ascorbate", "other"]
AGENTS: tuple[Agent, ...] = ("thiosulfate", "sulfite", "metabisulfite", "ascorbate", "other")


@dataclass(frozen=True, slots=True)
class Route:
    """One balanced reaction of one form of an agent: mg of it per mg of chlorine as Cl2."""

    form: str
    products: str
    mg_per_mg_cl2: float


_ROUTES: dict[str, tuple[Route, ...]] = {  # the safe route first; balanced, computed from masses
    "thiosulfate": (
        Route("sodium thiosulfate pentahydrate", "tetrathionate", 7.000),
        Route("sodium thiosulfate pentahydrate", "sulfate and sulfur", 3.500),
        Route("sodium thiosulfate pentahydrate", "sulfate", 0.875),
    ),
    "sulfite": (Route("sodium sulfite", "sulfate", 1.778),),
    "metabisulfite": (Route("sodium metabisulfite", "sulfate", 1.341),),
    "ascorbate": (
        Route("sodium ascorbate", "dehydroascorbate", 2.794),
        Route("ascorbic acid", "dehydroascorbate", 2.484),
    ),
}


def routes(agent: str) -> tuple[Route, ...]:
    """The known routes of an agent, the safe one first.

    Raises ModelDomainError for "other", whose chemistry is its maker's secret, and for unknown
    names.

    >>> routes("thiosulfate")[0].mg_per_mg_cl2
    7.0
    """
    if agent == "other":
        raise ModelDomainError(
            "the agent is 'other', so its strength is unknown: give what the label says it treats"
        )
    if agent not in _ROUTES:
        raise ModelDomainError(f"agent '{agent}' is not known: write one of {', '.join(AGENTS)}")
    return _ROUTES[agent]


def mg_cl2_per_ml_from_label(ml: float, litres: float, mg_l: float) -> float:
    """Strength [mg Cl2 per mL] of a product whose label says `ml` treat `litres` at `mg_l`.

    Raises ModelDomainError unless all three are above 0.

    >>> mg_cl2_per_ml_from_label(5.0, 200.0, 1.0)
    40.0
    """
    for what, value in (("ml", ml), ("litres", litres), ("mg_l", mg_l)):
        if not value > 0.0:
            raise ModelDomainError(f"the label's {what} is {value:g}: give a number above 0")
    return litres * mg_l / ml


def needed_ml(
    litres: float, chlorine_mg_l: float, mg_cl2_per_ml: float, safety: float = 1.0
) -> float:
    """Neutraliser [mL] that removes `chlorine_mg_l` (free plus combined) from `litres` of water.

    `safety` multiplies the need. Raises ModelDomainError for negative amounts or no strength.

    >>> needed_ml(25.0, 2.0, 40.0)
    1.25
    """
    not_negative("litres", litres, "L")
    not_negative("chlorine", chlorine_mg_l, "mg/L")
    not_negative("safety factor", safety)
    if not mg_cl2_per_ml > 0.0:
        raise ModelDomainError(f"the strength is {mg_cl2_per_ml:g} mg/mL: give a number above 0")
    return safety * litres * chlorine_mg_l / mg_cl2_per_ml


def removed_mg_l(ml: float, litres: float, mg_cl2_per_ml: float) -> float:
    """Chlorine [mg/L as Cl2] that `ml` of neutraliser can remove from `litres` of water.

    Raises ModelDomainError for negative amounts or no volume.

    >>> removed_mg_l(1.25, 25.0, 40.0)
    2.0
    """
    not_negative("neutraliser", ml, "mL")
    not_negative("strength", mg_cl2_per_ml, "mg/mL")
    if not litres > 0.0:
        raise ModelDomainError(f"the volume is {litres:g} L: give a number above 0")
    return ml * mg_cl2_per_ml / litres
