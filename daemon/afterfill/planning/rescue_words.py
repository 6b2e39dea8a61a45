"""The rescue for a person at night: how much of which neutraliser for this tank, in one text."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from afterfill.chemistry.doses import dose_words
from afterfill.planning.asked import Bottle, Bounds, TankBefore
from afterfill.planning.found import Found
from afterfill.planning.shown import Shown

if TYPE_CHECKING:
    from afterfill.planning.rescue import RescuePlan


@dataclass(frozen=True, slots=True)
class AtHand:
    """What a tank's keeper has: its limits, alkalinity [mg/L as CaCO3], the neutralisers that may
    be meant (each alone), and the most that the source may hold [mg/L as Cl2]; `tank`: its name
    where there are several."""

    bounds: Bounds
    alkalinity_mg_l_caco3: float
    bottles: tuple[Bottle, ...] = ()
    residual_most_mg_l: float = 4.0
    tank: str | None = None


def rescues(at_hand: AtHand, tank: TankBefore, found: Found) -> "tuple[RescuePlan, ...]":
    """A plan for each neutraliser, or one without any. The tank's ammonia is taken to include what
    chloramine holds. Raises ModelDomainError for amounts that cannot be."""
    from afterfill.planning.rescue import plan_rescue  # a megabyte that no quiet day needs

    return tuple(
        plan_rescue(tank, found, bottle, at_hand.bounds, ammonia_counts_bound=True)
        for bottle in at_hand.bottles or (None,)
    )


def rescue_words(
    at_hand: AtHand, tank: TankBefore, found: Found, plans: "Sequence[RescuePlan]"
) -> str:
    """How much to dose, where, for what, and with what caution; or what to do instead.

    >>> from afterfill.chemistry.standing import Interval
    >>> from afterfill.planning.found import Upper
    >>> at_hand = AtHand(Bounds(0.019, 0.02, (6.0, 8.8), (18.0, 30.0)), 80.0)
    >>> tank, none = TankBefore(100.0), Found(Interval(0, 0, 0.001), Upper(0.002, "normal"))
    >>> rescue_words(at_hand, tank, none, rescues(at_hand, tank, none))[:45]
    'no neutraliser: nothing is believed to be the'
    """
    plan = plans[0]
    if plan.dose_ml == 0.0:
        return (
            "no neutraliser: nothing is believed to be there that it could take away. Test with "
            "DPD total chlorine; aerate if fish gasp"
        )
    known = [
        (bottle, plan)
        for bottle, plan in zip(at_hand.bottles, plans, strict=False)
        if plan.dose_ml is not None
    ]
    if not known:
        return _without_a_bottle(tank, found)
    plan = known[0][1]
    margins = [p.safety for _, p in known]
    margin = f"{min(margins):.2g} to {max(margins):.2g}" if len(known) > 1 else f"{margins[0]:.2g}"
    doses = " or ".join(f"{dose_words(p.dose_ml or 0.0, b.unit)} of {_named(b)}" for b, p in known)
    one = ", one of them and never both" if len(known) > 1 else ""
    return ". ".join(
        [
            f"put {doses}{one} into the whole tank's {tank.litres:.3g} L, {_how(plan)}, where the "
            f"flow is strong (for up to {found.upper.mg_l:.2g} mg/L of chlorine, and "
            f"{margin} times that for a weak bottle)",
            *_cautions(plan, at_hand, [bottle for bottle, _ in known]),
            f"Then record it: {_told(at_hand, known)}",
        ]
    )


def _named(bottle: Bottle) -> str:
    agent = "" if bottle.agent == "other" else f" ({bottle.agent})"
    return f"{bottle.name or 'the neutraliser'}{agent}"


def _how(plan: "RescuePlan") -> str:
    if {"oxygen", "pH"} & set(plan.over):
        return "half of it now and the other half an hour later if DPD total still shows something"
    return "all of it at once"


def _told(at_hand: AtHand, known: "Sequence[tuple[Bottle, RescuePlan]]") -> str:
    given = f"{known[0][1].dose_ml:g}" if len(known) == 1 else "ML"
    return Shown(tank=at_hand.tank).command(f"log dose --neutraliser-ml {given}")


def _without_a_bottle(tank: TankBefore, found: Found) -> str:
    return (
        "how much cannot be told: no neutraliser of known strength is configured for this tank "
        f"([neutraliser.ID]). Dose what you have as its label says for {tank.litres:.3g} L and "
        f"{found.upper.mg_l:.2g} mg/L of chlorine, once. With none: aerate, add no water, and move "
        "the fish only to safe water of the same temperature"
    )


def _cautions(plan: "RescuePlan", at_hand: AtHand, bottles: Sequence[Bottle]) -> list[str]:
    wait = 30.0 if plan.minutes is None else plan.minutes[1]
    found = [
        f"Give no more, and no second product, before DPD total chlorine was tested {wait:.0f} min "
        "later",
        _aeration(plan, at_hand.bounds),
    ]
    if any(bottle.agent == "ascorbate" for bottle in bottles):
        found.append(
            "Ascorbate may not remove chloramine: prefer thiosulfate or sulfite if there is any"
        )
    left = plan.oxygen_left_mg_l
    if "oxygen" in plan.over and left is not None:
        found.append(f"It may leave {max(left, 0.0):.1f} mg/L of oxygen: aerate before it")
    if "pH" in plan.over and plan.ph_lowest is not None and plan.ph_lowest < at_hand.bounds.ph[0]:
        found.append(f"In the days after pH may fall to {plan.ph_lowest:.1f}: test alkalinity")
    if any(bottle.binds_ammonia for bottle in bottles):
        found.append("Do not count on it to bind ammonia, nor on a Nessler test after it")
    return found


def _aeration(plan: "RescuePlan", bounds: Bounds) -> str:
    air, free = plan.air, plan.free_as_advised_mg_l
    if air is None:
        return "Aerate strongly until it shows nothing; pH is not known, and aeration raises it"
    if air.hours >= 24.0:
        return "Aerate strongly"
    ammonia = ""
    if free is not None:
        ammonia = (
            f", un-ionised ammonia up to {free:.2g} mg/L as N, limit {bounds.free_ammonia_mg_l:.2g}"
        )
    return (
        f"Aerate strongly for {air.hours:g} h, longer only while fish gasp: it raises pH (to "
        f"{air.ph:.1f} by then{ammonia})"
    )
