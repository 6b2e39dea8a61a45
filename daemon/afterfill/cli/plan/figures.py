"""The figures of a refill plan as rows of a table."""

from collections.abc import Iterator

from afterfill.cli.plan.inputs import Known
from afterfill.cli.spread import spread
from afterfill.planning import practice
from afterfill.planning.refill import RefillPlan

Row = tuple[str, str, str]
_WORTH_SAYING_MG_L = 0.05  # own judgement


def figures(known: Known, plan: RefillPlan) -> list[Row]:
    """Quantity, expectation and what it is held against."""
    return [
        *_residual_rows(known, plan),
        *_ammonia_rows(known, plan),
        *_water_rows(known, plan),
        *_agent_rows(known, plan),
    ]


def _residual_rows(known: Known, plan: RefillPlan) -> Iterator[Row]:
    limit = limit_words(known.bounds.residual_oxidant_mg_l, known.bounds.residual_source)
    residual = plan.residual
    yield "residual of the new water, undosed", f"{spread(residual.poured_mg_l)} mg/L", ""
    if residual.treated_mg_l is not None:
        yield "residual in the tank, dosed", f"{spread(residual.treated_mg_l)} mg/L", limit
    yield "residual in the tank, undosed", f"{spread(residual.untreated_mg_l)} mg/L", limit


def limit_words(limit: float, source: str) -> str:
    """A limit with where it comes from.

    >>> limit_words(0.019, "US EPA 1984, one hour, secondary")
    'limit 0.019 (US EPA 1984, one hour, secondary)'
    """
    return f"limit {limit:.3g} ({source})" if source else f"limit {limit:.3g}"


def _ammonia_rows(known: Known, plan: RefillPlan) -> Iterator[Row]:
    ammonia, bounds = plan.ammonia, known.bounds
    limit = limit_words(bounds.free_ammonia_mg_l, bounds.free_ammonia_source)
    if ammonia.total_mg_l is not None:
        brought = f"of it brought {spread(ammonia.brought_mg_l)}"
        yield "total ammonia", f"{spread(ammonia.total_mg_l)} mg/L as N", brought
    free = ammonia.free_mg_l
    if free is None:
        at = ammonia.ph_at_limit
        if at is not None:
            yield "free ammonia reaches its limit", f"at pH {at:.1f} at the worst", limit
        return
    yield "free ammonia, before", f"{spread(free.before)} mg/L as N", limit
    yield "free ammonia, at once", f"{spread(free.at_once)} mg/L as N", limit
    yield "free ammonia, settled", f"{spread(free.settled)} mg/L as N", limit
    yield "free ammonia, in air's CO2", f"{spread(free.in_air)} mg/L as N", "if aerated strongly"
    hours = ammonia.hours_over_limit
    if hours is None:
        yield "filter has it back", "not known", ammonia.hours_unknown_because or ""
    elif hours.high <= 0.0:
        yield "filter has it back", "never over the limit", ""
    else:
        yield "filter has it back", f"{spread(hours)} h", "a mature filter; 1 to 10 per day"


def _water_rows(known: Known, plan: RefillPlan) -> Iterator[Row]:
    water, shown = plan.water, known.shown
    if water.temperature_c is not None and water.temperature_step_c is not None:
        warmth = f"{shown.temperature(water.temperature_c)}, a step of "
        most = shown.step(practice.TEMPERATURE_STEP_C).replace("+", "")
        held = f"step {most} ({practice.SOURCE})"
        yield "temperature", warmth + shown.step(water.temperature_step_c), held
    if water.ph is None or water.ph_step is None:
        return
    held = f"step {practice.PH_STEP:g} ({practice.SOURCE})"
    span = "{:.2f} ({:.2f} to {:.2f})".format(water.ph.closed, *water.ph.closed_span)
    yield "pH, at once", f"{span}, a step of {water.ph_step:+.2f}", held
    yield "pH, settled", f"{water.ph.settled:.2f}", "as warm and with as much CO2 as before"
    yield "pH, in air's CO2", f"{water.ph.in_air:.2f}", "if aerated strongly"
    low, high = known.bounds.ph
    yield "pH, days after", f"{water.ph.later:.2f}", f"limits {low:g} to {high:g}; acid of the days"
    yield "alkalinity", known.shown.alkalinity(water.ph.alkalinity_mg_l_caco3), ""


def _agent_rows(known: Known, plan: RefillPlan) -> Iterator[Row]:
    effects, dose = plan.side_effects, plan.dose
    if effects is None or dose is None:
        return
    given = f"{dose.covers_mg_l:.3g} mg/L of the new water's chlorine"
    over = (
        "your own" if dose.own else f"{dose.safety:.3g} times the need: weak bottle, careless cap"
    )
    yield "dose can take", given, over
    yield "left over of it", f"{effects.surplus_mg_l:.2g} mg/L as Cl2", "usual source, in the tank"
    left, unknown = effects.oxygen_left_mg_l, effects.pace == "not known"
    if effects.oxygen_at_risk_mg_l is not None:
        taken = f"up to {effects.oxygen_at_risk_mg_l:.2g} mg/L"
        yield "oxygen taken in the end", taken, effects.pace
    if left is not None:
        least = f"least {known.bounds.oxygen_mg_l:g} ({known.bounds.oxygen_source})"
        word = "oxygen left, as the worst agent" if unknown else "oxygen left at the worst"
        yield word, f"{max(left, 0.0):.1f} of {effects.oxygen_saturated_mg_l:.1f} mg/L", least
    used, later = effects.alkalinity_used_mg_l_caco3, effects.alkalinity_later_mg_l_caco3
    if used is not None and abs(used) >= _WORTH_SAYING_MG_L:
        word = "alkalinity taken by the agent" if used >= 0.0 else "alkalinity given"
        yield word, f"up to {known.shown.alkalinity(abs(used))}", "at once"
    yield (
        "alkalinity taken",
        f"up to {known.shown.alkalinity(later)}",
        "days after: surplus, ammonia",
    )
    drained = effects.drained
    if drained is not None and drained.oxygen_left_mg_l is not None:
        ph = "" if drained.ph is None else f", pH {drained.ph:.1f}"
        yield "drained tank, dosed", f"oxygen {max(drained.oxygen_left_mg_l, 0.0):.1f} mg/L{ph}", ""
