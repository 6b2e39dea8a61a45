"""The largest refill that keeps within each limit and within practice."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from afterfill.chemistry.standing import Interval
from afterfill.planning import practice
from afterfill.planning.ammonia_after import AmmoniaAfter, ammonia_after
from afterfill.planning.asked import Bounds, TankBefore, Tap
from afterfill.planning.side_effects import Acting, refilled_water, saturated_mg_l
from afterfill.planning.water_after import WaterAfter

_STEPS = 25  # of the tank's volume: each rule crosses its bound once or twice, never faster
_HALVINGS = 10


@dataclass(frozen=True, slots=True)
class Reach:
    """How far a refill may go under one rule: `litres` up to the whole tank, 0 when the tank is
    already beyond it, None when it cannot be told."""

    rule: str
    kind: Literal["limit", "practice"]
    litres: float | None


Keeps = Callable[[WaterAfter, float], bool | None]  # the water at a fraction -> within the rule


def reaches(
    tank: TankBefore,
    tap: Tap,
    tap_ammonia: Interval,
    bounds: Bounds,
    acting: Acting | None,
    *,
    aerated: bool,
) -> tuple[Reach, ...]:
    """The reach of every rule, for a refill dosed as `acting` is. Raises nothing of its own."""

    def after(water: WaterAfter, fraction: float) -> AmmoniaAfter:
        limit_mg_l = bounds.free_ammonia_mg_l
        return ammonia_after(tank, tap_ammonia, fraction, water, limit_mg_l, aerated=aerated)

    def free_ammonia(water: WaterAfter, fraction: float) -> bool | None:
        free = after(water, fraction).free_mg_l
        return None if free is None else free.judged_mg_l <= bounds.free_ammonia_mg_l

    def total_ammonia(water: WaterAfter, fraction: float) -> bool | None:
        found = after(water, fraction)
        if found.criteria is None or found.total_mg_l is None:
            return None
        return found.total_mg_l.high <= found.criteria.acute_mg_l

    rules: tuple[tuple[str, Literal["limit", "practice"], Keeps], ...] = (
        ("free ammonia", "limit", free_ammonia),
        ("total ammonia", "limit", total_ammonia),
        ("pH", "limit", lambda w, _: _ph_inside(w, bounds.ph, aerated=aerated)),
        ("oxygen", "limit", lambda w, f: _breathes(w, f, acting, bounds.oxygen_mg_l)),
        ("temperature", "limit", lambda w, _: _warm_enough(w, bounds.temperature_c)),
        ("step of pH", "practice", lambda w, _: _small(w.ph_step, practice.PH_STEP)),
        (
            "step of temperature",
            "practice",
            lambda w, _: _small(w.temperature_step_c, practice.TEMPERATURE_STEP_C),
        ),
    )
    waters: dict[float, WaterAfter] = {}

    def share(keeps: Keeps) -> float | None:
        def kept(fraction: float) -> bool | None:
            if fraction not in waters:
                waters[fraction] = refilled_water(tank, tap, acting, tap_ammonia.high, fraction)
            return keeps(waters[fraction], fraction)

        return _largest_share(kept)

    return tuple(
        Reach(name, kind, _litres(share(keeps), tank.litres)) for name, kind, keeps in rules
    )


def untreated_litres(tank_litres: float, residual_mg_l: float, limit_mg_l: float) -> float:
    """Untreated water [L] that brings a tank to its limit: how little it takes.

    >>> untreated_litres(100.0, 2.0, 0.011)
    0.55
    """
    if residual_mg_l <= limit_mg_l:
        return tank_litres
    return round(tank_litres * limit_mg_l / residual_mg_l, 6)


def _largest_share(keeps: Callable[[float], bool | None]) -> float | None:
    """The largest share of the tank up to which a rule is kept without a break."""
    inside = 0.0
    for step in range(_STEPS + 1):
        fraction = step / _STEPS
        kept = keeps(fraction)
        if kept is None:
            return None
        if not kept:
            return _between(keeps, inside, fraction) if step else 0.0
        inside = fraction
    return 1.0


def _between(keeps: Callable[[float], bool | None], inside: float, outside: float) -> float:
    for _ in range(_HALVINGS):
        middle = 0.5 * (inside + outside)
        if keeps(middle):
            inside = middle
        else:
            outside = middle
    return inside


def _litres(share: float | None, tank_litres: float) -> float | None:
    return None if share is None else share * tank_litres


def _ph_inside(water: WaterAfter, span: tuple[float, float], *, aerated: bool) -> bool | None:
    if water.ph is None:
        return None
    lowest, highest = water.ph.lowest(aerated=aerated), water.ph.highest(aerated=aerated)
    return span[0] <= lowest and highest <= span[1]


def _breathes(
    water: WaterAfter, fraction: float, acting: Acting | None, least_mg_l: float
) -> bool | None:
    holds = saturated_mg_l(water.temperature_c)
    if holds is None:
        return None
    missing = 0.0 if acting is None else acting.later(fraction).oxygen_missing_mg_l
    return holds - missing >= least_mg_l


def _warm_enough(water: WaterAfter, span: tuple[float, float]) -> bool | None:
    if water.temperature_c is None or water.temperature_step_c is None:
        return None
    return span[0] <= water.temperature_c <= span[1]


def _small(step: float | None, most: float) -> bool | None:
    return None if step is None else abs(step) <= most
