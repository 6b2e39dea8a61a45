"""The figures of a refill plan as rows of a table."""

from collections.abc import Iterator

from afterfill.cli.plan.inputs import Known
from afterfill.cli.spread import spread
from afterfill.planning import practice
from afterfill.planning.refill import RefillPlan, oxygen_share

Row = tuple[str, str, str]


def figures(known: Known, plan: RefillPlan) -> list[Row]:
    """Quantity, expectation and what it is held against."""
    return [
        *_residual_rows(known, plan),
        *_ammonia_rows(known, plan),
        *_water_rows(known, plan),
        *_agent_rows(plan),
    ]


def _residual_rows(known: Known, plan: RefillPlan) -> Iterator[Row]:
    limit = f"limit {known.bounds.residual_oxidant_mg_l:.3g}"
    residual = plan.residual
    yield "residual of the new water, undosed", f"{spread(residual.poured_mg_l)} mg/L", ""
    if residual.treated_mg_l is None:
        yield "residual in the tank, dosed", "not known", limit
    else:
        yield "residual in the tank, dosed", f"{spread(residual.treated_mg_l)} mg/L", limit
    yield "residual in the tank, undosed", f"{spread(residual.untreated_mg_l)} mg/L", limit


def _ammonia_rows(known: Known, plan: RefillPlan) -> Iterator[Row]:
    ammonia, limit = plan.ammonia, f"limit {known.bounds.free_ammonia_mg_l:.2g}"
    if ammonia.total_mg_l is not None:
        brought = f"of it brought {spread(ammonia.brought_mg_l)}"
        yield "total ammonia", f"{spread(ammonia.total_mg_l)} mg/L as N", brought
    free = ammonia.free_mg_l
    if free is None:
        at = ammonia.ph_at_limit
        note = limit if at is None else f"{limit}; reached at pH {at:.1f} at the worst"
        yield "free ammonia", "not known", note
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
    else:
        yield "temperature", "step not known", ""
    if water.ph is None or water.ph_step is None:
        yield "pH", "not known", water.ph_unknown_because or ""
        return
    held = f"step {practice.PH_STEP:g} ({practice.SOURCE})"
    span = "{:.2f} ({:.2f} to {:.2f})".format(water.ph.closed, *water.ph.closed_span)
    yield "pH, at once", f"{span}, a step of {water.ph_step:+.2f}", held
    yield "pH, settled", f"{water.ph.settled:.2f}", "as warm and with as much CO2 as before"
    yield "pH, in air's CO2", f"{water.ph.in_air:.2f}", "if aerated strongly"
    yield "alkalinity", f"{water.ph.alkalinity_mg_l_caco3:.0f} mg/L as CaCO3", ""


def _agent_rows(plan: RefillPlan) -> Iterator[Row]:
    effects = plan.side_effects
    if effects is None:
        return
    oxygen, alkalinity = effects.oxygen_at_risk_mg_l, effects.alkalinity_used_mg_l_caco3
    if oxygen is None:
        yield "oxygen taken by surplus", "not known (the maker's secret)", ""
    elif oxygen <= 0.0:
        yield "oxygen taken by surplus", "hardly any", ""
    else:
        share = oxygen_share(effects)
        held = "" if share is None else f"{share:.0%} of saturation"
        yield "oxygen taken by surplus", f"up to {oxygen:.2g} mg/L", held
    if alkalinity is not None:
        word = "alkalinity taken by the agent" if alkalinity >= 0.0 else "alkalinity given"
        yield word, f"up to {abs(alkalinity):.2g} mg/L as CaCO3", ""
