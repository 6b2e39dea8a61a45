"""The dose of neutraliser for a refill, and what is left of the residual with it."""

from dataclasses import dataclass
from math import ceil, exp, floor, hypot, log10

from afterfill.chemistry.doses import DoseUnit
from afterfill.chemistry.kits import Z95
from afterfill.chemistry.neutraliser import behaviour, needed_ml, removed_mg_l
from afterfill.chemistry.standing import Interval
from afterfill.planning.asked import Asked, Bottle, Disinfectant, DoseAt

_MEASURING = 0.1  # a syringe or cap is read to a tenth; own judgement
_NOTHING_MG_L = 1e-9
_MOST_PARTS = 5  # own judgement: more is work for a bucket
_FULL = 1.0 - 1e-9


@dataclass(frozen=True, slots=True)
class Part:
    """Neutraliser [mL] that goes into the tank before so many litres are poured."""

    ml: float
    litres: float


@dataclass(frozen=True, slots=True)
class Dose:
    """How much [mL, or `unit`], where it goes, and why so much.

    `own`: the keeper chose it; `needed_ml` is what the plan would give. `parts`: how it goes into a
    drained tank; empty elsewhere, and where too little water is left to dose.

    `covers_mg_l`: residual [mg/L as Cl2] that it removes from every litre poured, at the nominal
    strength. `safety`: factor over the nominal need, so that a weak bottle and a careless measure
    still suffice in 95 of 100 cases. `label_ml`: what the label's words alone would give.
    `minutes`: how long until the residual is gone (low, high); None: not to be counted on.
    """

    ml: float
    needed_ml: float
    at: DoseAt
    for_litres: float
    covers_mg_l: float
    safety: float
    label_ml: float | None
    minutes: tuple[float, float] | None
    own: bool
    parts: tuple[Part, ...] = ()
    unit: DoseUnit = "mL"


def dose_for(
    bottle: Bottle,
    asked: Asked,
    tank_litres: float,
    tap: Disinfectant,
    residual: Interval,
    limit_mg_l: float = 0.0,
) -> Dose | None:
    """The dose that takes the most the water may hold; None when the strength is not known; of
    nothing where the water poured keeps `limit_mg_l` as it is.

    Into the line or the bucket it is for the litres poured. Into the tank it is for the whole
    volume (common practice, no source): diluted, it must find the disinfectant before a gill does.
    Raises ModelDomainError for unknown agents and negative amounts.
    """
    if bottle.mg_cl2_per_ml is None:
        return None
    litres = tank_litres if asked.dose_at == "tank" else asked.litres
    safety = exp(Z95 * _spread(bottle))
    to_take = residual.high if residual.high > limit_mg_l else 0.0
    needed = rounded_up_ml(needed_ml(litres, to_take, bottle.mg_cl2_per_ml, safety))
    ml = needed if asked.dose_ml is None else asked.dose_ml
    return Dose(
        ml,
        needed,
        asked.dose_at,
        litres,
        removed_mg_l(ml, asked.litres, bottle.mg_cl2_per_ml),
        safety,
        _label_ml(bottle, litres),
        minutes_of(bottle, tap),
        asked.dose_ml is not None,
        parts_of(ml, tank_litres, asked.litres) if _into_drained(asked) else (),
        unit=bottle.unit,
    )


def _into_drained(asked: Asked) -> bool:
    return asked.dose_at == "tank" and asked.mode == "replace"


def parts_of(ml: float, tank_litres: float, litres: float) -> tuple[Part, ...]:
    """How `ml` goes into a tank from which `litres` were drained, so that what is left in it never
    holds more than twice what the full tank will: each part before at most as much water as is in
    it. Empty where that needs more than five.

    >>> parts_of(15.0, 100.0, 25.0), [p.ml for p in parts_of(15.0, 100.0, 90.0)]
    ((Part(ml=15.0, litres=25.0),), [3.0, 3.0, 6.0, 3.0])
    """
    held, dosed, parts = tank_litres - litres, 0.0, list[Part]()
    if held <= 0.0:
        return ()
    while held < tank_litres * _FULL and len(parts) <= _MOST_PARTS:
        step = min(held, tank_litres - held)
        held += step
        part = ml * held / tank_litres - dosed
        dosed += part
        parts.append(Part(round(part, 2), step))
    return tuple(parts) if len(parts) <= _MOST_PARTS else ()


def minutes_of(bottle: Bottle, tap: Disinfectant) -> tuple[float, float] | None:
    """Minutes (low, high) until the residual is gone; None when the agent cannot be counted on."""
    acts = behaviour(bottle.agent)
    return acts.minutes_free if tap == "chlorine" else acts.minutes_combined


def left_with(bottle: Bottle, dose: Dose, tap: Disinfectant, residual: Interval) -> Interval:
    """Residual [mg/L as Cl2] of the poured water when the dose has acted.

    Where the agent cannot be counted on, only the low end allows for it.
    """
    spread = exp(Z95 * _spread(bottle))
    low = _left(residual.low, dose.covers_mg_l * spread)
    if minutes_of(bottle, tap) is None:
        return Interval(low, residual.middle, residual.high)
    middle = _left(residual.middle, dose.covers_mg_l)
    return Interval(low, middle, _left(residual.high, dose.covers_mg_l / spread))


def strong_mg(bottle: Bottle, ml: float) -> float:
    """Chlorine [mg as Cl2] that `ml` can take at the most: a strong bottle, a full measure."""
    return ml * (bottle.mg_cl2_per_ml or 0.0) * exp(Z95 * _spread(bottle))


def rounded_up_ml(ml: float) -> float:
    """The next amount [mL] that a person can measure: two significant digits, 0.01 at the least.

    >>> rounded_up_ml(1.283), rounded_up_ml(25.0), rounded_up_ml(0.0)
    (1.3, 25.0, 0.0)
    """
    if ml <= 0.0:
        return 0.0
    digits = min(1 - floor(log10(ml)), 2)
    step = 10.0**digits
    return round(ceil(round(ml * step, 6)) / step, max(digits, 0))


def _left(residual_mg_l: float, removed: float) -> float:
    left = residual_mg_l - removed
    return left if left > _NOTHING_MG_L else 0.0


def _spread(bottle: Bottle) -> float:
    return hypot(behaviour(bottle.agent).strength_sigma, _MEASURING)


def _label_ml(bottle: Bottle, litres: float) -> float | None:
    if bottle.label_ml is None or bottle.label_litres is None:
        return None
    return bottle.label_ml * litres / bottle.label_litres
