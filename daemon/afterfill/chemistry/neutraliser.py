"""How much chlorine an amount of neutraliser removes, and what else it does to the water.

Masses are mg of agent per mg of active chlorine as Cl2; HOCl, OCl- and NH2Cl count alike. Each
agent's default route is the safe one, which removes the least chlorine per mg of agent.
"""

from dataclasses import dataclass

from afterfill.chemistry.domain import not_negative
from afterfill.chemistry.neutraliser_afterwards import afterwards
from afterfill.chemistry.neutraliser_agents import AGENTS, BEHAVIOURS, ROUTES, Behaviour, Route
from afterfill.chemistry.stoichiometry import ammonia_from_chloramine
from afterfill.errors import ModelDomainError


@dataclass(frozen=True, slots=True)
class Effect:
    """What removing chlorine did, per litre of water treated; None is unknown. `oxygen_at_risk`:
    all that is taken in the end, over days by some agents."""

    ammonia_released_mg_l: float
    alkalinity_used_mg_l_caco3: float | None
    oxygen_at_risk_mg_l: float | None


def routes(agent: str) -> tuple[Route, ...]:
    """The known routes of an agent, the safe one first.

    Raises ModelDomainError for "other", whose chemistry is its maker's secret, and for unknown
    names. Source: neutraliser_agents.ROUTES.

    >>> routes("thiosulfate")[0].mg_per_mg_cl2
    7.0004
    """
    if agent == "other":
        raise ModelDomainError(
            "the agent is 'other', so its strength is unknown: give what the label says it treats"
        )
    if agent not in ROUTES:
        raise ModelDomainError(f"agent '{agent}' is not known: write one of {', '.join(AGENTS)}")
    return ROUTES[agent]


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


def behaviour(agent: str) -> Behaviour:
    """What an agent does besides removing chlorine, and how long to wait.

    Raises ModelDomainError for unknown names.

    >>> behaviour("ascorbate").minutes_combined is None
    True
    """
    if agent not in BEHAVIOURS:
        raise ModelDomainError(f"agent '{agent}' is not known: write one of {', '.join(AGENTS)}")
    return BEHAVIOURS[agent]


def effect(agent: str, free_mg_l: float, combined_mg_l: float, surplus_mg_l: float = 0.0) -> Effect:
    """What removing free and combined chlorine [mg/L as Cl2] does, per litre.

    `surplus_mg_l` is neutraliser left over [mg/L as the Cl2 it could still remove]; what it takes
    in the end stands in neutraliser_afterwards. None of the named agents removes ammonia; of
    "other" only the released ammonia is known, and whether its maker binds it is for the label to
    say. Raises ModelDomainError for unknown names and negative amounts.

    >>> e = effect("sulfite", 0.5, 1.0)
    >>> round(e.ammonia_released_mg_l, 4), round(e.alkalinity_used_mg_l_caco3 or 0.0, 3)
    (0.1975, 0.353)
    """
    not_negative("free chlorine", free_mg_l, "mg/L")
    not_negative("combined chlorine", combined_mg_l, "mg/L")
    not_negative("surplus", surplus_mg_l, "mg/L")
    released = ammonia_from_chloramine(combined_mg_l)
    if behaviour(agent).oxygen == "unknown":
        return Effect(released, None, None)
    route = routes(agent)[0]
    return Effect(
        released,
        route.alkalinity_used_free * free_mg_l + route.alkalinity_used_combined * combined_mg_l,
        afterwards(agent, free_mg_l + combined_mg_l, surplus_mg_l).oxygen_mg_l,
    )
