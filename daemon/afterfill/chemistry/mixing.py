"""Balances of a refill: what a tank holds when water was exchanged, added or topped off.

Alkalinity, dissolved carbon, ammonia, oxidant and heat mix in proportion to volume; pH does not
(see carbonate). Source: conservation of mass and of heat (equal heat capacities).
"""

from math import exp, log
from typing import Literal, overload

from afterfill.chemistry.domain import Array, not_negative, within
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


def after_repeated(before: float, added: float, fraction: float, times: int) -> float:
    """A conserved quantity after `times` equal refills of `fraction` (0-1) each.

    C = C_added + (C_before - C_added)(1 - f)^n. Raises ModelDomainError for a fraction outside 0-1
    or negative `times`.

    >>> round(after_repeated(40.0, 10.0, 0.25, 4), 3)
    19.492
    """
    within("refilled fraction", fraction, 0.0, 1.0)
    not_negative("number of refills", times)
    return added + (before - added) * float((1.0 - fraction) ** times)


def refills_until(before: float, added: float, target: float, fraction: float) -> float:
    """How many equal refills of `fraction` bring a conserved quantity from `before` to `target`.

    Not rounded. Raises ModelDomainError when the target does not lie between the two waters.

    >>> round(refills_until(40.0, 10.0, 20.0, 0.25), 2)
    3.82
    """
    if not 0.0 < fraction < 1.0:
        raise ModelDomainError(f"refilled fraction is {fraction:g}: give one between 0 and 1")
    left = (target - added) / (before - added) if before != added else 0.0
    if not 0.0 < left <= 1.0:
        raise ModelDomainError(
            f"{target:g} cannot be reached: give a target between {added:g} and {before:g}"
        )
    return log(left) / log(1.0 - fraction)


def topped_off(
    before: float,
    added: float,
    litres_per_day: float,
    tank_litres: float,
    days: float,
    loss_per_day: float = 0.0,
) -> float:
    """Concentration after `days` of replacing evaporated water, with first-order loss [1/d].

    dC/dt = (E/V) C_added - k C at constant volume: what does not evaporate builds up. Raises
    ModelDomainError for negative rates or a tank without volume.

    >>> round(topped_off(150.0, 150.0, 1.0, 100.0, 1.0), 2)  # hardness, +1.5 mg/L a day
    151.5
    """
    gain = topping_rate_per_day(litres_per_day, tank_litres) * added
    not_negative("days", days, "d")
    not_negative("loss rate", loss_per_day, "1/d")
    if loss_per_day * days < 1e-9:
        return before + gain * days
    steady = gain / loss_per_day
    return steady + (before - steady) * exp(-loss_per_day * days)


def top_off_steady_state(
    added: float, litres_per_day: float, tank_litres: float, loss_per_day: float
) -> float:
    """Concentration that steady topping-off settles at: (E/V) C_added / k.

    Raises ModelDomainError without a loss (then it never settles).

    >>> round(top_off_steady_state(1.0, 1.0, 100.0, 0.35), 4)  # mg/L chloramine, aerated
    0.0286
    """
    if not loss_per_day > 0.0:
        raise ModelDomainError(
            "nothing removes it, so it never settles: give a loss above 0 per day"
        )
    return topping_rate_per_day(litres_per_day, tank_litres) * added / loss_per_day


def topping_rate_per_day(litres_per_day: float, tank_litres: float) -> float:
    """Share of the tank's volume that evaporates and is topped off each day [1/d].

    Raises ModelDomainError for a tank without volume or negative litres.

    >>> topping_rate_per_day(1.0, 100.0)
    0.01
    """
    not_negative("litres per day", litres_per_day, "L/d")
    if not tank_litres > 0.0:
        raise ModelDomainError(f"the tank's volume is {tank_litres:g} L: give a volume above 0")
    return litres_per_day / tank_litres
