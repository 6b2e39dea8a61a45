"""What water loses by standing: free chlorine within a day or two, chloramine over weeks.

Few numbers are published and household lore is looser still, so every answer is an interval.
"""

from dataclasses import dataclass
from math import exp, log
from typing import Literal

from afterfill.chemistry.constants import (
    COMBINED_LOSS_PER_DAY,
    FREE_STANDING_HOURS,
    STANDING_SPREAD,
)
from afterfill.chemistry.domain import not_negative, within
from afterfill.errors import ModelDomainError

Way = Literal["sealed", "open", "aerated"]
WAYS: tuple[Way, ...] = ("sealed", "open", "aerated")


@dataclass(frozen=True, slots=True)
class Interval:
    """5 %, 50 % and 95 % points of what is believed."""

    low: float
    middle: float
    high: float


@dataclass(frozen=True, slots=True)
class Waiting:
    """Whether waiting makes water safe, and how many hours (None: not within two weeks)."""

    hours: Interval | None
    advice: str


_TWO_WEEKS_H = 14.0 * 24.0  # longer than water is left to stand: own judgement


def free_half_life_h() -> Interval:
    """Half-life [h] of free chlorine in tap water standing indoors, away from the sun.

    The same sealed, open or aerated: it goes by demand of water and walls; hypochlorous acid hardly
    leaves to the air, and aeration was found no help (White 1955). Source:
    constants.FREE_STANDING_HOURS.

    >>> free_half_life_h().middle
    8.5
    """
    return Interval(*FREE_STANDING_HOURS.values)


def combined_half_life_h(way: str = "open") -> Interval:
    """Half-life [h] of monochloramine standing "sealed", "open" or strongly "aerated".

    Raises ModelDomainError for another way. Source: constants.COMBINED_LOSS_PER_DAY.

    >>> round(combined_half_life_h("open").middle / 24.0, 1)
    8.7
    """
    if way not in WAYS:
        raise ModelDomainError(f"way of standing '{way}' is not known: write {', '.join(WAYS)}")
    middle = 24.0 * log(2.0) / COMBINED_LOSS_PER_DAY[way].values[0]
    return Interval(middle / STANDING_SPREAD.value, middle, middle * STANDING_SPREAD.value)


def remaining(start_mg_l: float, hours: float, half_life_h: Interval) -> Interval:
    """What is left [mg/L] of `start_mg_l` after `hours` (>= 0), first order.

    Raises ModelDomainError for negative amounts.

    >>> round(remaining(1.0, 24.0, free_half_life_h()).high, 2)
    0.5
    """
    not_negative("chlorine", start_mg_l, "mg/L")
    not_negative("standing time", hours, "h")
    points = (half_life_h.low, half_life_h.middle, half_life_h.high)
    return Interval(*(start_mg_l * exp(-log(2.0) * hours / half_life) for half_life in points))


def hours_until(start_mg_l: float, limit_mg_l: float, half_life_h: Interval) -> Interval:
    """Hours until `start_mg_l` has fallen to `limit_mg_l` (above 0).

    Raises ModelDomainError for a limit of 0, which first order never reaches.

    >>> round(hours_until(1.0, 0.011, free_half_life_h()).high)
    156
    """
    not_negative("chlorine", start_mg_l, "mg/L")
    if not limit_mg_l > 0.0:
        raise ModelDomainError(f"the limit is {limit_mg_l:g} mg/L: give one above 0")
    halvings = max(0.0, log(max(start_mg_l, 1e-300) / limit_mg_l) / log(2.0))
    return Interval(
        half_life_h.low * halvings, half_life_h.middle * halvings, half_life_h.high * halvings
    )


def waiting(disinfectant: str, start_mg_l: float, limit_mg_l: float) -> Waiting:
    """Whether standing alone makes tap water safe.

    `disinfectant` is "chlorine", "chloramine" or "unknown" (taken as chloramine). Raises
    ModelDomainError for other words and as `hours_until`.

    >>> waiting("chloramine", 2.0, 0.011).hours is None
    True
    """
    _check_disinfectant(disinfectant)
    if disinfectant != "chlorine":
        return Waiting(None, "chloramine does not go by standing: use a neutraliser")
    hours = hours_until(start_mg_l, limit_mg_l, free_half_life_h())
    if hours.high <= _TWO_WEEKS_H:
        return Waiting(hours, "test before use: water and vessels differ a lot")
    return Waiting(None, "do not rely on waiting: use a neutraliser")


def held_for(start_mg_l: float, hours: float, disinfectant: str) -> Interval:
    """Residual [mg/L] of tap water that stood open for `hours` (0-1000) before use.

    "unknown" spans both disinfectants. Raises ModelDomainError as `waiting`.

    >>> round(held_for(2.0, 24.0, "chloramine").middle, 2)
    1.85
    """
    _check_disinfectant(disinfectant)
    within("standing time", hours, 0.0, 1000.0, "h")
    free = remaining(start_mg_l, hours, free_half_life_h())
    combined = remaining(start_mg_l, hours, combined_half_life_h())
    if disinfectant == "chlorine":
        return free
    if disinfectant == "chloramine":
        return combined
    return Interval(free.low, combined.middle, combined.high)


def _check_disinfectant(disinfectant: str) -> None:
    if disinfectant not in ("chlorine", "chloramine", "unknown"):
        raise ModelDomainError(
            f"disinfectant '{disinfectant}' is not known: write chlorine, chloramine or unknown"
        )
