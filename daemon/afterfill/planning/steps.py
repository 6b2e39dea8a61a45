"""What to do for a refill, in order."""

from collections.abc import Iterator

from afterfill.chemistry.doses import dose_words
from afterfill.planning import practice
from afterfill.planning.asked import Bottle, Tap
from afterfill.planning.refill import RefillPlan
from afterfill.planning.shown import Shown

_PLACE = {
    "bucket": "into the new water, before it goes into the tank",
    "line": "into the line, steadily while the water runs",
    "tank": "into the tank, all of it before any water",
}

_WORTH_TEMPERING_C = 0.5  # own judgement


def steps(plan: RefillPlan, tap: Tap, bottle: Bottle | None, shown: Shown) -> tuple[str, ...]:
    """The steps; of a plan that breaks a limit, what would mend it."""
    if plan.over:
        return tuple(_mending(plan, bottle, shown))
    return tuple(_pouring(plan, tap, shown))


def _mending(plan: RefillPlan, bottle: Bottle | None, shown: Shown) -> Iterator[str]:
    yield f"Do not pour as planned: {', '.join(plan.over)} would be over the limit."
    if "residual" in plan.over:
        yield _mending_dose(plan, bottle)
    if "temperature" in plan.over:
        yield "Bring the new water near the tank's temperature, and plan again."
    yield from _mending_surplus(plan)
    most = plan.largest_litres
    if {"free ammonia", "total ammonia", "pH"} & set(plan.over) and most is not None:
        less = f"Pour at most {shown.volume(most)} at once"
        yield f"{less}, and plan again." if most > 0.0 else "Mend the tank before any refill."


def _mending_surplus(plan: RefillPlan) -> Iterator[str]:
    """What to do instead of too much neutraliser, or of too much in too little water."""
    over, dose = set(plan.over), plan.dose
    if dose is None:
        return
    too_much = bool({"oxygen", "surplus of neutraliser"} & over)
    if too_much and dose.own and dose.needed_ml < dose.ml:
        yield f"Give {dose_words(dose.needed_ml, dose.unit)} of neutraliser, no more."
    elif too_much:
        yield "Use another agent, or pour less at once: even the needed dose takes too much."
    if {"dose in so little water", "oxygen of the drained tank", "pH of the drained tank"} & over:
        yield (
            "Do not put the dose into the drained tank: put it into the new water, in a bucket "
            "(`--dose-at bucket`) or into its stream (`--dose-at line`), or drain less."
        )


def _mending_dose(plan: RefillPlan, bottle: Bottle | None) -> str:
    if plan.dose is None or bottle is None:
        return "Get a neutraliser and write its strength, or its label's words, in its table."
    if plan.dose.minutes is None:
        return (
            f"Use thiosulfate or sulfite; with {bottle.agent} stir, wait, and test with DPD total: "
            "pour only when it shows nothing."
        )
    return f"Give {dose_words(plan.dose.needed_ml, plan.dose.unit)} of neutraliser."


def _pouring(plan: RefillPlan, tap: Tap, shown: Shown) -> Iterator[str]:
    volume = shown.volume(plan.asked.litres)
    if plan.asked.standing_hours > 0.0:
        yield f"Let the {volume} stand open for {plan.asked.standing_hours:g} h."
    if plan.water.temperature_step_c is None:
        yield "Measure the new water and bring it to the tank's temperature."
    elif abs(plan.water.temperature_step_c) > _WORTH_TEMPERING_C:
        yield "Bring the new water near the tank's temperature."
    yield from _in_steps_of_ph(plan, shown)
    drains, into_tank = plan.asked.mode == "replace", plan.asked.dose_at == "tank"
    if drains and into_tank:
        yield f"Drain {volume}."  # before the dose, which would go with it
    if plan.dose is not None and len(plan.dose.parts) > 1:
        yield from _in_parts(plan, shown)
    else:
        yield from _dosing(plan, tap, shown)
        if drains and not into_tank:
            yield f"Drain {volume} and refill, slowly."
        else:
            yield f"Add the {volume}, slowly."
    yield _afterwards(plan, shown)


def _in_steps_of_ph(plan: RefillPlan, shown: Shown) -> Iterator[str]:
    """That so much of this water at once would step pH further than fish should bear."""
    most = next((it.litres for it in plan.reaches if it.rule == "step of pH"), None)
    step = plan.water.ph_step
    if most is None or step is None or abs(step) <= practice.PH_STEP or most <= 0.0:
        return
    yield (
        f"Pour at most {shown.volume(most)} of it at once, and the rest likewise with two hours "
        f"between: all of it would step pH by {step:+.2f}, more than {practice.PH_STEP:g} "
        f"({practice.SOURCE}). Plan, dose and tell each part by itself."
    )


def _in_parts(plan: RefillPlan, shown: Shown) -> Iterator[str]:
    """The dose of a drained tank, before each part of the water."""
    dose = plan.dose
    if dose is None:
        return
    left = shown.volume(dose.for_litres - plan.asked.litres)
    whole = (
        f"{dose_words(dose.ml, dose.unit)} at once would be too much for the {left} that are left"
    )
    yield f"Dose in {len(dose.parts)} parts, since {whole}; after each wait 5 min with strong flow."
    for part in dose.parts:
        volume = shown.volume(part.litres)
        amount = dose_words(part.ml, dose.unit)
        yield f"Put {amount} of neutraliser into the tank, then add {volume}, slowly."


def _dosing(plan: RefillPlan, tap: Tap, shown: Shown) -> Iterator[str]:
    dose = plan.dose
    if dose is None or (dose.ml <= 0.0 and not dose.own):
        left = plan.residual.poured_mg_l.high
        yield f"No dose: the new water holds {left:.2g} mg/L at the most."
        return
    yield (
        f"Put {dose_words(dose.ml, dose.unit)} of neutraliser {_PLACE[dose.at]}: it is reckoned "
        f"for {shown.volume(dose.for_litres)}."
    )
    if dose.at == "tank":
        yield "Wait 5 min with strong flow, so that it is everywhere before the water comes."
    if dose.minutes is not None and dose.at == "bucket":
        low, high = dose.minutes
        kind = "chlorine" if tap.disinfectant == "chlorine" else "chloramine"
        yield f"Stir and wait {high:.0f} min: {kind} takes {low:g} to {high:g} min to go."


def _afterwards(plan: RefillPlan, shown: Shown) -> str:
    given = "" if plan.dose is None else f" --neutraliser-ml {plan.dose.ml:g}"
    mode = " --mode add" if plan.asked.mode == "add" else ""
    test = " Test ammonia the next day." if plan.ammonia.brought_mg_l.high > 0.0 else ""
    told = shown.command(f"log refill --litres {plan.asked.litres:.4g}{given}{mode}")
    return f"Record it: {told}.{test}"
