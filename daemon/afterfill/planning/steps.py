"""What to do for a refill, in order."""

from collections.abc import Iterator

from afterfill.planning.asked import Bottle, Tap
from afterfill.planning.refill import RefillPlan
from afterfill.planning.shown import Shown, millilitres

_PLACE = {
    "bucket": "into the new water, before it goes into the tank",
    "line": "into the line, steadily while the water runs",
    "tank": "into the tank, all of it before any water",
}


def steps(plan: RefillPlan, tap: Tap, bottle: Bottle | None, shown: Shown) -> tuple[str, ...]:
    """The steps; when the plan breaks a limit the first says so."""
    return tuple(_steps(plan, tap, bottle, shown))


def _steps(plan: RefillPlan, tap: Tap, bottle: Bottle | None, shown: Shown) -> Iterator[str]:
    volume = shown.volume(plan.asked.litres)
    if plan.over:
        yield f"Do not pour as planned: {' and '.join(plan.over)} would be over the limit."
    if plan.asked.standing_hours > 0.0:
        yield f"Let the {volume} stand open for {plan.asked.standing_hours:g} h."
    if plan.water.temperature_step_c is None:
        yield "Measure the new water and bring it to the tank's temperature."
    elif abs(plan.water.temperature_step_c) > 0.5:
        yield "Bring the new water near the tank's temperature."
    if plan.dose is not None:
        yield from _dosing(plan, tap, shown)
    elif not plan.over:
        left = plan.residual.poured_mg_l.high
        yield f"No dose: standing has brought the residual to {left:.2g} mg/L at the most."
    if plan.asked.mode == "replace" and not plan.over:
        yield f"Drain {volume} and refill, slowly."
    elif not plan.over:
        yield f"Add the {volume}, slowly."
    yield _afterwards(plan, bottle)


def _dosing(plan: RefillPlan, tap: Tap, shown: Shown) -> Iterator[str]:
    dose = plan.dose
    if dose is None:
        return
    yield (
        f"Put {millilitres(dose.ml)} of neutraliser {_PLACE[dose.at]}: it is reckoned for "
        f"{shown.volume(dose.for_litres)}."
    )
    if dose.at == "tank":
        yield "Wait 5 min with strong flow, so that it is everywhere before the water comes."
    if dose.minutes is not None and dose.at == "bucket":
        low, high = dose.minutes
        kind = "chlorine" if tap.disinfectant == "chlorine" else "chloramine"
        yield f"Stir and wait {high:.0f} min: {kind} takes {low:g} to {high:g} min to go."
    if dose.minutes is None and dose.at == "bucket":
        yield "Stir, wait, and test with DPD total before pouring: it must show nothing."


def _afterwards(plan: RefillPlan, bottle: Bottle | None) -> str:
    given = "" if plan.dose is None else f" --neutraliser-ml {plan.dose.ml:g}"
    test = (
        ""
        if bottle is not None and plan.ammonia.brought_mg_l.high <= 0.0
        else (" Test ammonia the next day.")
    )
    return (
        f"Tell it: `afterfill log refill --litres {plan.asked.litres:.4g}{given}"
        f"{' --mode add' if plan.asked.mode == 'add' else ''}`.{test}"
    )
