"""The plan for one refill: dose, residual with and without it, ammonia, pH, warmth, and a verdict.

Everything is an interval from what the source usually holds to the most it may hold. The tank's
own demand for chlorine is not counted: it would only make things better.
"""

from dataclasses import dataclass
from typing import Literal

from afterfill.chemistry.mixing import refilled_fraction
from afterfill.chemistry.neutraliser import Effect, effect
from afterfill.chemistry.standing import Interval, Waiting, waiting
from afterfill.chemistry.tank_processes import oxygen_saturation_mg_l
from afterfill.planning.ammonia_after import AmmoniaAfter, ammonia_after
from afterfill.planning.asked import Asked, Bottle, Bounds, TankBefore, Tap
from afterfill.planning.dose import Dose, dose_for, left_with, surplus_mg_l
from afterfill.planning.largest import Reach, reaches, untreated_litres
from afterfill.planning.tap_water import ammonia_of_tap, residual_at_tap, residual_poured
from afterfill.planning.water_after import WaterAfter, missing_for_ph, water_after

_OXYGEN_WORTH_SAYING = 0.05  # of saturation; own judgement

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
class SideEffects:
    """What the neutraliser does to the tank; None where its maker alone knows.

    `oxygen_at_risk_mg_l`: the most that its surplus can take in the end; beside it what the tank
    holds when saturated with air.
    """

    alkalinity_used_mg_l_caco3: float | None
    oxygen_at_risk_mg_l: float | None
    oxygen_saturated_mg_l: float | None


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
    poured = residual_poured(tap, asked.standing_hours)
    dose = (
        None if bottle is None else dose_for(bottle, asked, tank.litres, tap.disinfectant, poured)
    )
    acted = _acted(bottle, dose, tap, poured)
    used = 0.0 if acted is None else acted.alkalinity_used_mg_l_caco3 or 0.0
    water = water_after(tank, tap, fraction, used)
    effects = None if acted is None else _side_effects(acted, fraction, water)
    aerated, nitrogen = needs_air(effects), ammonia_of_tap(tap)
    ammonia = ammonia_after(
        tank, nitrogen, fraction, water, bounds.free_ammonia_mg_l, aerated=aerated
    )
    residual = _residual(tank, tap, bottle, dose, bounds, fraction, poured)
    over, already = _over(tank, bounds, residual, ammonia, water)
    missing = _missing(tank, tap, bottle)
    return RefillPlan(
        asked=asked,
        fraction=fraction,
        dose=dose,
        residual=residual,
        ammonia=ammonia,
        water=water,
        waiting=waiting(tap.disinfectant, residual_at_tap(tap).high, bounds.residual_oxidant_mg_l),
        side_effects=effects,
        reaches=reaches(tank, tap, nitrogen, bounds, used, aerated=aerated),
        judgement=_judgement(over, already, ammonia, water),
        over=over,
        over_before=already,
        over_if_aerated=_over_in_air(bounds, ammonia, (*over, *already)),
        missing=missing,
    )


def _acted(bottle: Bottle | None, dose: Dose | None, tap: Tap, poured: Interval) -> Effect | None:
    """What the agent does per litre poured, at the most."""
    if bottle is None or dose is None:
        return None
    free = poured.high if tap.disinfectant == "chlorine" else 0.0
    return effect(bottle.agent, free, poured.high - free, surplus_mg_l(bottle, dose, poured))


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


def _side_effects(acted: Effect, fraction: float, water: WaterAfter) -> SideEffects:
    oxygen, alkalinity = acted.oxygen_at_risk_mg_l, acted.alkalinity_used_mg_l_caco3
    after_c = water.temperature_c
    holds = after_c is not None and 0.0 <= after_c <= 40.0
    return SideEffects(
        None if alkalinity is None else fraction * alkalinity,
        None if oxygen is None else fraction * oxygen,
        oxygen_saturation_mg_l(after_c) if holds and after_c is not None else None,
    )


def _over(
    tank: TankBefore,
    bounds: Bounds,
    residual: Residual,
    ammonia: AmmoniaAfter,
    water: WaterAfter,
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
            (_doing(tank.ph, after, bounds.ph) for after in (ph.closed, ph.settled)),
            key=(None, "leaves", "breaks").index,
        )
    if water.temperature_c is not None:
        span = bounds.temperature_c
        found["temperature"] = _doing(tank.temperature_c, water.temperature_c, span)
    return (
        tuple(name for name, doing in found.items() if doing == "breaks"),
        tuple(name for name, doing in found.items() if doing == "leaves"),
    )


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


def needs_air(effects: SideEffects | None) -> bool:
    """Whether the surplus may take so much oxygen that the plan has the tank aerated."""
    share = None if effects is None else oxygen_share(effects)
    return share is not None and share > _OXYGEN_WORTH_SAYING


def oxygen_share(effects: SideEffects) -> float | None:
    """Share of the saturated oxygen that the surplus can take; None where it is not known.

    >>> oxygen_share(SideEffects(0.0, 0.8, 8.0))
    0.1
    """
    if effects.oxygen_at_risk_mg_l is None or not effects.oxygen_saturated_mg_l:
        return None
    return effects.oxygen_at_risk_mg_l / effects.oxygen_saturated_mg_l
