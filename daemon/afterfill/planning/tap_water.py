"""What the source's water holds at the tap, and after standing: residual and ammonia.

The typical residual is taken as the middle, the maximum as the 95 % point of a log-normal belief
(own judgement), so the 5 % point lies as far below the typical as the maximum lies above.
"""

from afterfill.chemistry.standing import Interval, held_for
from afterfill.chemistry.stoichiometry import ammonia_from_chloramine, uncombined_ammonia
from afterfill.planning.asked import Tap


def residual_at_tap(tap: Tap) -> Interval:
    """Residual [mg/L as Cl2] as it leaves the tap.

    >>> residual_at_tap(Tap("chloramine", 2.0, 4.0))
    Interval(low=1.0, middle=2.0, high=4.0)
    """
    highest = max(tap.residual_max_mg_l, tap.residual_mg_l)
    low = tap.residual_mg_l**2 / highest if highest > 0.0 else 0.0
    return Interval(low, tap.residual_mg_l, highest)


def residual_poured(tap: Tap, standing_hours: float) -> Interval:
    """Residual [mg/L as Cl2] after standing `standing_hours` (0-1000) in an open vessel indoors.

    Raises ModelDomainError outside. Source: standing.held_for.

    >>> round(residual_poured(Tap("chlorine", 1.0, 2.0), 24.0).high, 2)
    1.0
    """
    at_tap = residual_at_tap(tap)
    held = [held_for(c, standing_hours, tap.disinfectant) for c in (at_tap.low, at_tap.middle)]
    highest = held_for(at_tap.high, standing_hours, tap.disinfectant)
    return Interval(held[0].low, held[1].middle, highest.high)


def ammonia_of_tap(tap: Tap) -> Interval:
    """Total ammonia [mg/L as N] of the source once its chloramine is neutralised.

    What standing takes from chloramine is not taken off: most of its nitrogen stays. Of an unknown
    disinfectant the low and middle are those of plain chlorine, the high those of chloramine.
    Raises ModelDomainError for a ratio of chlorine to nitrogen outside 1-8.

    >>> round(ammonia_of_tap(Tap("chloramine", 2.0, 2.0, uncombined_ammonia_mg_l=0.1)).high, 4)
    0.4951
    """
    beside = tap.uncombined_ammonia_mg_l or 0.0
    if tap.disinfectant == "chlorine":
        return Interval(beside, beside, beside)
    points = residual_at_tap(tap)
    high = _with_chloramine(tap, points.high)
    if tap.disinfectant == "unknown":
        return Interval(beside, beside, high)
    return Interval(_with_chloramine(tap, points.low), _with_chloramine(tap, points.middle), high)


def _with_chloramine(tap: Tap, combined_mg_l: float) -> float:
    beside = tap.uncombined_ammonia_mg_l
    if beside is None:
        beside = uncombined_ammonia(combined_mg_l, tap.chlorine_to_nitrogen)
    return ammonia_from_chloramine(combined_mg_l) + beside
