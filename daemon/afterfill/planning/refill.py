"""The plan for one refill: dose, residual with and without it, ammonia, pH, warmth, and a verdict.

Everything is an interval from what the source usually holds to the most it may hold. The tank's
own demand for chlorine is not counted: it would only make things better.
"""

from dataclasses import dataclass
from typing import Literal

from afterfill.chemistry.constants_fish import SURPLUS_TANKFULS
from afterfill.chemistry.mixing import refilled_fraction
from afterfill.chemistry.standing import Interval, Waiting, waiting
from afterfill.planning.ammonia_after import AmmoniaAfter, ammonia_after
from afterfill.planning.asked import Asked, Bottle, Bounds, TankBefore, Tap
from afterfill.planning.dose import Dose, dose_for, left_with
from afterfill.planning.largest import Reach, reaches, untreated_litres
from afterfill.planning.side_effects import (
    Acting,
    SideEffects,
    needs_air,
    refilled_water,
    side_effects,
)
from afterfill.planning.tap_water import ammonia_of_tap, residual_at_tap, residual_poured
from afterfill.planning.water_after import WaterAfter, missing_for_ph

Judgement = Literal["within-limits", "over-limits", "over-before", "cannot-tell"]
Doing = Literal["breaks", "leaves"]


@dataclass(frozen=True, slots=True)
class Residual:
    """Residual [mg/L as Cl2] of the water poured, and of the tank without and with the dose
    (None: no dose could be told)."""

    poured_mg_l: Interval
    untreated_mg_l: Interval
    treated_mg_l: Interval | None
    untreated_litres: float

    @property
    def judged_mg_l(self) -> float:
        """The high end that is held against the limit."""
        return (self.treated_mg_l or self.untreated_mg_l).high


@dataclass(frozen=True, slots=True)
class Missing:
    """An input that is not known, and what in the plan hangs on it."""

    what: str
    changes: str


@dataclass(frozen=True, slots=True)
class RefillPlan:
    """All that is known before the refill. `over`: which limits it would break, well dosed;
    `over_before`: which the tank breaks already, and the refill does not make worse;
    `over_if_aerated`: which more are broken at the highest pH of the next 24 h, that of a tank
    which is aerated strongly."""

    asked: Asked
    fraction: float
    dose: Dose | None
    residual: Residual
    ammonia: AmmoniaAfter
    water: WaterAfter
    waiting: Waiting
    side_effects: SideEffects | None
    reaches: tuple[Reach, ...]
    judgement: Judgement
    over: tuple[str, ...]
    over_before: tuple[str, ...]
    over_if_aerated: tuple[str, ...]
    missing: tuple[Missing, ...]

    @property
    def largest_litres(self) -> float | None:
        """The largest refill that keeps every limit, as far as they can be told."""
        known = [r.litres for r in self.reaches if r.kind == "limit" and r.litres is not None]
        return min(known, default=None)


def plan_refill(
    tank: TankBefore, tap: Tap, bottle: Bottle | None, bounds: Bounds, asked: Asked
) -> RefillPlan:
    """The plan. Raises ModelDomainError when the refill is more than the tank holds, and for
    amounts that cannot be (negative ones, a Cl2:N ratio outside 1-8, standing beyond 1000 h)."""
    fraction = refilled_fraction(tank.litres, asked.litres, asked.mode)
    poured, nitrogen = residual_poured(tap, asked.standing_hours), ammonia_of_tap(tap)
    limit_mg_l = bounds.residual_oxidant_mg_l
    dose, acting = None, None
    if bottle is not None:
        dose = dose_for(bottle, asked, tank.litres, tap.disinfectant, poured, limit_mg_l)
    if bottle is not None and dose is not None:
        litres, most_mg_l = asked.litres, nitrogen.high
        acting = Acting(bottle, dose, tap, poured, litres, tank.litres, most_mg_l)
    water = refilled_water(tank, tap, acting, nitrogen.high, fraction)
    effects = side_effects(acting, tank, asked, fraction, water)
    aerated = needs_air(effects)
    ammonia = ammonia_after(
        tank, nitrogen, fraction, water, bounds.free_ammonia_mg_l, aerated=aerated
    )
    residual = _residual(tank, tap, bottle, dose, bounds, fraction, poured)
    over, already = _over(tank, bounds, residual, ammonia, water, aerated=aerated)
    over += _over_by_dose(effects, bounds, tap)
    return RefillPlan(
        asked=asked,
        fraction=fraction,
        dose=dose,
        residual=residual,
        ammonia=ammonia,
        water=water,
        waiting=waiting(tap.disinfectant, residual_at_tap(tap).high, limit_mg_l),
        side_effects=effects,
        reaches=reaches(tank, tap, nitrogen, bounds, acting, aerated=aerated),
        judgement=_judgement(over, already, ammonia, water),
        over=over,
        over_before=already,
        over_if_aerated=_over_in_air(bounds, ammonia, (*over, *already)),
        missing=_missing(tank, tap, bottle),
    )


def _residual(
    tank: TankBefore,
    tap: Tap,
    bottle: Bottle | None,
    dose: Dose | None,
    bounds: Bounds,
    fraction: float,
    poured: Interval,
) -> Residual:
    treated = None
    if bottle is not None and dose is not None:
        treated = _diluted(left_with(bottle, dose, tap.disinfectant, poured), fraction)
    return Residual(
        poured,
        _diluted(poured, fraction),
        treated,
        untreated_litres(tank.litres, poured.high, bounds.residual_oxidant_mg_l),
    )


def _diluted(poured: Interval, fraction: float) -> Interval:
    return Interval(poured.low * fraction, poured.middle * fraction, poured.high * fraction)


def _over(
    tank: TankBefore,
    bounds: Bounds,
    residual: Residual,
    ammonia: AmmoniaAfter,
    water: WaterAfter,
    *,
    aerated: bool,
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The limits that this refill breaks, and those that the tank broke before and that the refill
    does not make worse: they are not its doing."""
    free, ph, limit = ammonia.free_mg_l, water.ph, bounds.free_ammonia_mg_l
    found: dict[str, Doing | None] = {
        "residual": "breaks" if residual.judged_mg_l > bounds.residual_oxidant_mg_l else None
    }
    if free is not None:
        found["free ammonia"] = _doing(free.before.high, free.judged_mg_l, (0.0, limit))
    criteria, total, before = ammonia.criteria, ammonia.total_mg_l, tank.ammonia_mg_l
    if criteria is not None and total is not None and before is not None:
        found["total ammonia"] = _doing(before.high, total.high, (0.0, criteria.acute_mg_l))
    if ph is not None:
        found["pH"] = max(
            (
                _doing(tank.ph, after, bounds.ph)
                for after in (ph.lowest(aerated=aerated), ph.highest(aerated=aerated))
            ),
            key=(None, "leaves", "breaks").index,
        )
    if water.temperature_c is not None:
        span = bounds.temperature_c
        found["temperature"] = _doing(tank.temperature_c, water.temperature_c, span)
    return (
        tuple(name for name, doing in found.items() if doing == "breaks"),
        tuple(name for name, doing in found.items() if doing == "leaves"),
    )


def _over_by_dose(effects: SideEffects | None, bounds: Bounds, tap: Tap) -> tuple[str, ...]:
    """What the dose itself breaks."""
    if effects is None:
        return ()
    left, drained = effects.oxygen_left_mg_l, effects.drained
    most_mg_l = SURPLUS_TANKFULS.value * max(tap.residual_max_mg_l, tap.residual_mg_l)
    found = {
        "oxygen": left is not None and left < bounds.oxygen_mg_l,
        "surplus of neutraliser": effects.surplus_mg_l > most_mg_l,
    }
    if drained is not None:
        held, ph = drained.oxygen_left_mg_l, drained.ph
        found["dose in so little water"] = drained.too_little
        found["oxygen of the drained tank"] = held is not None and held < bounds.oxygen_mg_l
        found["pH of the drained tank"] = ph is not None and ph < bounds.ph[0]
    return tuple(name for name, broken in found.items() if broken)


def _over_in_air(bounds: Bounds, ammonia: AmmoniaAfter, known: tuple[str, ...]) -> tuple[str, ...]:
    free, total, criteria = ammonia.free_mg_l, ammonia.total_mg_l, ammonia.criteria_in_air
    found = {
        "free ammonia": free is not None and free.in_air.high > bounds.free_ammonia_mg_l,
        "total ammonia": total is not None
        and criteria is not None
        and total.high > criteria.acute_mg_l,
    }
    return tuple(name for name, broken in found.items() if broken and name not in known)


def _doing(before: float | None, after: float, span: tuple[float, float]) -> Doing | None:
    """What a refill does to a limit: breaks it (further), leaves it broken, or neither."""
    low, high = span
    if low <= after <= high:
        return None
    if before is None or after < min(low, before) or after > max(high, before):
        return "breaks"
    return "leaves"


def _judgement(
    over: tuple[str, ...], already: tuple[str, ...], ammonia: AmmoniaAfter, water: WaterAfter
) -> Judgement:
    if over:
        return "over-limits"
    if already:
        return "over-before"
    unknown = ammonia.free_mg_l is None or water.temperature_step_c is None
    return "cannot-tell" if unknown else "within-limits"


def _missing(tank: TankBefore, tap: Tap, bottle: Bottle | None) -> tuple[Missing, ...]:
    found = [Missing(name, "pH and free ammonia") for name in missing_for_ph(tank, tap)]
    if tank.ammonia_mg_l is None:
        found.append(Missing("the tank's ammonia", "total and free ammonia, hours of the filter"))
    if tap.temperature_c is None:
        found.append(
            Missing("the source's temperature", "the step of temperature (taken as the tank's)")
        )
    if tap.disinfectant == "unknown":
        found.append(
            Missing("the source's disinfectant", "ammonia, and whether standing helps at all")
        )
    if bottle is None:
        found.append(Missing("the neutraliser", "the dose, and the residual with it"))
    elif bottle.mg_cl2_per_ml is None:
        found.append(Missing("the neutraliser's strength", "the dose, and the residual with it"))
    return tuple(found)
