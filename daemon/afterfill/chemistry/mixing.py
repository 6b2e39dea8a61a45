"""Balances of a refill: what a tank holds when water was exchanged or added.

Alkalinity, dissolved carbon, ammonia, oxidant and heat mix in proportion to volume; pH does not
(see carbonate). Source: conservation of mass and of heat (equal heat capacities).
"""

from typing import Literal, overload

from afterfill.chemistry.domain import Array, within
from afterfill.errors import ModelDomainError


@overload
def mixed(before: float, added: float, fraction: float) -> float: ...
@overload
def mixed(before: Array, added: float | Array, fraction: float | Array) -> Array: ...
@overload
def mixed(before: float, added: float | Array, fraction: Array) -> Array: ...
def mixed(before: float | Array, added: float | Array, fraction: float | Array) -> float | Array:
    """A conserved quantity (mg/L, mmol/L or degrees C) when `fraction` of the tank is new water.

    Raises ModelDomainError for a fraction outside 0-1.

    >>> mixed(0.0, 2.0, 0.25)
    0.5
    """
    within("refilled fraction", fraction, 0.0, 1.0)
    result: float | Array = before + fraction * (added - before)
    return result


def refilled_fraction(
    tank_litres: float, litres: float, mode: Literal["replace", "add"] = "replace"
) -> float:
    """Share of the tank's water that is new, 0-1, when `litres` were poured.

    `tank_litres` is the full volume, the one that stands after the refill, in both modes: with
    "replace" the litres were drained before, with "add" they had been lost. Raises ModelDomainError
    for a tank without volume or more litres than it holds.

    >>> refilled_fraction(100.0, 25.0)
    0.25
    """
    if not tank_litres > 0.0:
        raise ModelDomainError(f"the tank's volume is {tank_litres:g} L: give a volume above 0")
    if mode not in ("replace", "add"):
        raise ModelDomainError(f"refill mode '{mode}' is not known: write 'replace' or 'add'")
    within("litres poured", litres, 0.0, tank_litres, "L")
    return litres / tank_litres
