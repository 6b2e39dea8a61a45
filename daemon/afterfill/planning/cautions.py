"""What to be careful about in a refill, as data: how grave, and one sentence."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from afterfill.chemistry.doses import DoseUnit, dose_words
from afterfill.chemistry.kits import BINDERS_SPOIL_TESTS, DPD_INTERFERES
from afterfill.chemistry.neutraliser import removed_mg_l
from afterfill.chemistry.standing import combined_half_life_h
from afterfill.planning import practice
from afterfill.planning.asked import Bottle, Bounds, TankBefore, Tap
from afterfill.planning.dose import Dose
from afterfill.planning.refill import RefillPlan
from afterfill.planning.shown import Shown
from afterfill.planning.side_effects import needs_air, oxygen_share
from afterfill.planning.water_after import PhAfter, missing_for_ph

Severity = Literal["danger", "warning", "note"]
_GRAVEST_FIRST: tuple[Severity, ...] = ("danger", "warning", "note")
_SOFT_MG_L = 20.0  # alkalinity below which pH is easily moved; common practice, no source
_HARD_TO_MEASURE_ML = 0.5  # own judgement
_MEASURED_WITH: dict[DoseUnit, str] = {
    "mL": "use a 1 mL syringe, not drops",
    "g": "use scales that show 0.01 g",
    "drop": "use it for more water at once",
    "tablet": "crush it, and weigh a part",
}
_WIDE_PH = 0.2  # own judgement
_OVER_LABEL = 2.0  # a double dose is what labels commonly allow; common practice, no source
# Our own comparison with PHREEQC; 5 mmol/L of sodium chloride is 0.3 g/L of salt.
_SIMPLE_WATER = (
    "pH is reckoned for carbonate alone: 0.3 g/L of salt moves the mixture by up to 0.2, sulfate "
    "or odd calcium by 0.06, silicate or phosphate buffers by 0.2 to 0.4, all downwards, so that "
    "ammonia is overstated and acid understated."
)


@dataclass(frozen=True, slots=True)
class Caution:
    """One thing to be careful about."""

    severity: Severity
    sentence: str


def cautions(
    plan: RefillPlan,
    tank: TankBefore,
    tap: Tap,
    bottle: Bottle | None,
    bounds: Bounds,
    shown: Shown,
) -> tuple[Caution, ...]:
    """All that apply, the gravest first."""
    found = [
        *_of_residual(plan, bounds),
        *_of_neutraliser(plan, tap, bottle),
        *_of_oxygen(plan, bottle, bounds),
        *_of_drained(plan, bounds),
        *_of_ammonia(plan, tap, bottle, bounds),
        *_of_standing(plan, tap),
        *_of_warmth(plan, bounds, shown),
        *_of_ph(plan, tank, tap, bounds),
        Caution(
            "note",
            "an ORP probe hardly sees chloramine, and no probe sees the limit itself: a DPD "
            f"total-chlorine test of the treated water tells more. {DPD_INTERFERES}.",
        ),
    ]
    return tuple(sorted(found, key=lambda c: _GRAVEST_FIRST.index(c.severity)))


def _of_residual(plan: RefillPlan, bounds: Bounds) -> Iterator[Caution]:
    treated, untreated = plan.residual.treated_mg_l, plan.residual.untreated_mg_l.high
    limit = f"the limit is {bounds.residual_oxidant_mg_l:.3g} mg/L"
    if "residual" in plan.over and treated is None:
        yield Caution(
            "danger",
            f"without a neutraliser the tank may reach {untreated:.2g} mg/L of disinfectant; "
            f"{limit}: do not pour this water.",
        )
    elif "residual" in plan.over and treated is not None:
        yield Caution(
            "danger",
            f"even with this dose the tank may reach {treated.high:.2g} mg/L of disinfectant; "
            f"{limit}{_needed(plan)}: do not rely on it.",
        )
    elif untreated > bounds.residual_oxidant_mg_l:
        yield Caution(
            "note", f"if the dose were forgotten: up to {untreated:.2g} mg/L in the tank; {limit}."
        )


def _needed(plan: RefillPlan) -> str:
    dose = plan.dose
    if dose is None or not dose.own:
        return ""
    return f", and {dose_words(dose.needed_ml, dose.unit)} are needed"


def _of_neutraliser(plan: RefillPlan, tap: Tap, bottle: Bottle | None) -> Iterator[Caution]:
    if bottle is None or plan.dose is None:
        return
    if plan.dose.minutes is None:
        yield Caution(
            "danger",
            "ascorbate is quick with free chlorine, but was found ineffective on monochloramine "
            "(Basu & De Souza 2011, abstract read), while other practice relies on it: use "
            "thiosulfate or sulfite, or test with DPD total before pouring.",
        )
    effects = plan.side_effects
    if effects is not None and effects.oxygen_at_risk_mg_l is None:
        yield Caution(
            "note",
            "what this neutraliser does to oxygen and alkalinity its maker alone knows; it is "
            "judged as the worst of the known agents: aerate when fish breathe fast.",
        )
    yield from _of_place(plan.dose, tap)
    yield from _of_label(plan, bottle)
    if 0.0 < plan.dose.ml < _HARD_TO_MEASURE_ML:
        yield Caution(
            "warning",
            f"{dose_words(plan.dose.ml, plan.dose.unit)} is hard to measure: "
            f"{_MEASURED_WITH[plan.dose.unit]}.",
        )


def _of_oxygen(plan: RefillPlan, bottle: Bottle | None, bounds: Bounds) -> Iterator[Caution]:
    """What the dose takes of the tank's oxygen, and a surplus far over what it needs."""
    effects = plan.side_effects
    if effects is None or bottle is None:
        return
    left, missing = effects.oxygen_left_mg_l, effects.oxygen_missing_mg_l
    agent = "this neutraliser" if bottle.agent == "other" else bottle.agent
    if "oxygen" in plan.over and left is not None:
        yield Caution(
            "danger",
            f"{agent} may take {missing:.2g} mg/L of oxygen and leave {max(left, 0.0):.1f}, less "
            f"than the {bounds.oxygen_mg_l:g} that fish need ({bounds.oxygen_source}): give less.",
        )
    elif needs_air(effects):
        yield Caution(
            "warning",
            f"{agent} can take up to {missing:.2g} mg/L of oxygen, {oxygen_share(effects):.0%} of "
            "what the water holds: aerate during and after (what that does to pH and ammonia is "
            "counted).",
        )
    if "surplus of neutraliser" in plan.over:
        yield Caution(
            "danger",
            f"{effects.surplus_mg_l:.3g} mg/L of neutraliser would be left over (as the chlorine "
            "it could take), more than twice the most that the source may hold: give less.",
        )


def _of_drained(plan: RefillPlan, bounds: Bounds) -> Iterator[Caution]:
    drained = None if plan.side_effects is None else plan.side_effects.drained
    if drained is None:
        return
    if drained.too_little:
        yield Caution("danger", "hardly any water would be left in the tank to put the dose into.")
    if "oxygen of the drained tank" in plan.over and drained.oxygen_left_mg_l is not None:
        yield Caution(
            "danger",
            f"in the drained tank the dose may leave {max(drained.oxygen_left_mg_l, 0.0):.1f} mg/L "
            f"of oxygen within an hour, less than {bounds.oxygen_mg_l:g}.",
        )
    if "pH of the drained tank" in plan.over and drained.ph is not None:
        yield Caution(
            "danger",
            f"in the drained tank the dose may bring pH to {drained.ph:.1f}, below "
            f"{bounds.ph[0]:g}.",
        )


def _of_place(dose: Dose, tap: Tap) -> Iterator[Caution]:
    if dose.at == "line" and tap.disinfectant != "chlorine" and dose.minutes:
        yield Caution(
            "warning",
            f"dosed into the line, chloramine may still be there for {dose.minutes[1]:.0f} "
            "min when it meets the fish: a bucket or a holding vessel is safer.",
        )
    if dose.at == "tank":
        yield Caution(
            "warning",
            "dosed into the tank, raw water meets the fish before the dose has acted everywhere: "
            "pour slowly, far from the fish, with strong flow; a bucket is safer. Dose for the "
            f"whole tank ({practice.SOURCE}).",
        )


def _of_label(plan: RefillPlan, bottle: Bottle) -> Iterator[Caution]:
    """Where the label's own words would give too little for this water."""
    label_ml = None if plan.dose is None else plan.dose.label_ml
    if label_ml is None or bottle.mg_cl2_per_ml is None or plan.asked.litres <= 0.0:
        return
    removes = removed_mg_l(label_ml, plan.asked.litres, bottle.mg_cl2_per_ml)
    holds = plan.residual.poured_mg_l.high
    if removes < holds:
        yield Caution(
            "note",
            f"the label's words alone would give {dose_words(label_ml, bottle.unit)}, which "
            f"removes {removes:.2g} mg/L; this water may hold {holds:.2g} mg/L.",
        )
    if plan.dose is not None and plan.dose.ml > _OVER_LABEL * label_ml > 0.0:
        yield Caution(
            "warning",
            f"this dose is {plan.dose.ml / label_ml:.1f} times what the label's words give: for "
            f"the most the water may hold, and {plan.dose.safety:.2g} times that for a weak bottle "
            "and a careless "
            "measure; read on the label, or ask its maker, whether so much is borne.",
        )


def _of_ammonia(
    plan: RefillPlan, tap: Tap, bottle: Bottle | None, bounds: Bounds
) -> Iterator[Caution]:
    free, brought = plan.ammonia.free_mg_l, plan.ammonia.brought_mg_l
    limit = bounds.free_ammonia_mg_l
    yield from _of_criteria(plan)
    if "free ammonia" in plan.over and free is not None:
        yield Caution(
            "danger",
            f"free ammonia may reach {free.judged_mg_l:.2g} mg/L as N, over the limit of "
            f"{limit:.2g}: pour less, or in parts with days between.",
        )
    elif "free ammonia" in plan.over_before:
        yield Caution(
            "danger",
            f"free ammonia may be over the limit of {limit:.2g} mg/L as N already, and the refill "
            "does not bring it below: test for ammonia.",
        )
    elif "free ammonia" in plan.over_if_aerated and free is not None:
        yield Caution(
            "warning",
            f"strong aeration raises pH: within a day, at pH {_in_air(plan):.1f}, free ammonia "
            f"could reach {free.in_air.high:.2g} mg/L as N, over the limit of {limit:.2g}: aerate "
            f"no more than usual unless fish breathe fast{_there(plan)}.",
        )
    if tap.disinfectant != "chlorine" and brought.high > 0.0:
        yield Caution(
            "note",
            f"neutralising chloramine leaves its ammonia in the water, up to {brought.high:.2g} "
            "mg/L as N more in the tank; sulfur agents and ascorbate remove none of it.",
        )
    if bottle is not None and bottle.binds_ammonia:
        yield Caution(
            "note",
            "the label says that this neutraliser binds ammonia; how much and for how long is not "
            f"known, so it is not counted; {BINDERS_SPOIL_TESTS}.",
        )


def _there(plan: RefillPlan) -> str:
    total, criteria = plan.ammonia.total_mg_l, plan.ammonia.criteria_in_air
    if total is None or criteria is None or total.high <= criteria.chronic_mg_l:
        return ""
    return f"; {criteria.words}"


def _of_criteria(plan: RefillPlan) -> Iterator[Caution]:
    """EPA's criteria for total ammonia, at the highest pH of the next 24 h."""
    total, criteria = plan.ammonia.total_mg_l, plan.ammonia.criteria
    if total is None or criteria is None:
        return
    told = f"total ammonia may be {total.high:.2g} mg/L as N; {criteria.words}"
    if "total ammonia" in plan.over:
        yield Caution("danger", f"{told}: pour less, or in parts with days between.")
    elif total.high > criteria.chronic_mg_l:
        yield Caution("warning", f"{told}: test until the filter has brought it down.")
    else:
        yield Caution("note", f"{told}.")


def _in_air(plan: RefillPlan) -> float:
    return plan.water.ph.in_air if plan.water.ph is not None else 7.0


def _of_standing(plan: RefillPlan, tap: Tap) -> Iterator[Caution]:
    if tap.disinfectant == "chlorine":
        hours = plan.waiting.hours
        span = (
            "too long to rely on"
            if hours is None
            else f"{hours.middle:.0f} h ({hours.low:.0f} to {hours.high:.0f} h)"
        )
        yield Caution("note", f"by standing alone: {span}; {plan.waiting.advice}.")
        return
    if tap.disinfectant == "unknown":
        yield Caution(
            "warning",
            "the source's disinfectant is not known, so it is planned for as chloramine: ask the "
            "utility, or compare DPD free with DPD total.",
        )
    days = combined_half_life_h("aerated").middle / 24.0
    yield Caution(
        "warning",
        f"{plan.waiting.advice}; even with strong aeration half of it needs about {days:.0f} days "
        "to go (Garcia & Anderson 2017, abstract read).",
    )


def _of_warmth(plan: RefillPlan, bounds: Bounds, shown: Shown) -> Iterator[Caution]:
    step, after = plan.water.temperature_step_c, plan.water.temperature_c
    if step is None:
        yield Caution(
            "warning",
            "a temperature is missing, so its step cannot be told: measure both waters and bring "
            "the new water near the tank's.",
        )
        return
    if "temperature" in plan.over and after is not None:
        low, high = bounds.temperature_c
        yield Caution(
            "danger",
            f"the tank would be at {shown.temperature(after)}, outside its limits of "
            f"{shown.temperature(low)} to {shown.temperature(high)}: bring the new water near it.",
        )
    if abs(step) > practice.TEMPERATURE_STEP_C:
        yield Caution(
            "warning",
            f"temperature steps by {shown.step(step)}, more than "
            f"{shown.step(practice.TEMPERATURE_STEP_C).lstrip('+').replace('(+', '(')} at once "
            f"({practice.SOURCE}): temper the new water or pour over hours.",
        )


def _ph_over(plan: RefillPlan, ph: PhAfter, bounds: Bounds) -> str:
    aerated = needs_air(plan.side_effects)
    low, high = ph.lowest(aerated=aerated), ph.highest(aerated=aerated)
    limits = f"pH leaves its limits of {bounds.ph[0]:g} to {bounds.ph[1]:g}"
    if high > bounds.ph[1]:
        why = "once aerated as this dose asks" if high == ph.in_air else "with this water"
        return f"{limits}: it may reach {high:.1f} {why}; pour less."
    why = "as the days after take their acid" if low < ph.settled - 0.05 else "with this water"
    return (
        f"{limits}: it may fall to {low:.1f} {why}; pour less, dose no more than needed, or raise "
        "the tank's alkalinity slowly beforehand."
    )


def _of_ph(plan: RefillPlan, tank: TankBefore, tap: Tap, bounds: Bounds) -> Iterator[Caution]:
    step = plan.water.ph_step
    if plan.water.ph is None and not missing_for_ph(tank, tap):
        yield Caution(
            "warning", f"pH and free ammonia cannot be told: {plan.water.ph_unknown_because}."
        )
    if plan.water.ph is not None:
        yield Caution("note", _SIMPLE_WATER)
    if "pH" in plan.over and plan.water.ph is not None:
        yield Caution("danger", _ph_over(plan, plan.water.ph, bounds))
    if step is not None and abs(step) > practice.PH_STEP:
        yield Caution(
            "warning",
            f"pH steps by {step:+.2f}, more than {practice.PH_STEP:g} at once "
            f"({practice.SOURCE}): pour slowly or less.",
        )
    low, high = (0.0, 0.0) if plan.water.ph is None else plan.water.ph.closed_span
    if high - low > _WIDE_PH:
        yield Caution(
            "warning",
            f"hardness is not known and counts here: pH at once may be {low:.1f} to {high:.1f}, so "
            "measure it, and pour slowly.",
        )
    known = [a for a in (tank.alkalinity_mg_l_caco3, tap.alkalinity_mg_l_caco3) if a is not None]
    if known and min(known) < _SOFT_MG_L:
        yield Caution(
            "warning",
            "one of the waters has little alkalinity, so pH is easily moved and hard to foretell: "
            "measure it afterwards.",
        )
    if plan.asked.mode == "add":
        yield Caution(
            "note", "topping off leaves hardness and salts behind: they rise with every time."
        )
