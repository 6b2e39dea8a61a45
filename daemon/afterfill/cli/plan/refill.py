"""The plan of a refill, in words and as JSON."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, get_args

from afterfill.chemistry.doses import dose_from, dose_words
from afterfill.chemistry.typed import number_from
from afterfill.chemistry.units import litres_from
from afterfill.cli.console import Table
from afterfill.cli.plan.figures import figures
from afterfill.cli.plan.inputs import Known, used_table
from afterfill.cli.plan.said import Said
from afterfill.cli.plan.stock import bottle_lines
from afterfill.cli.plan.wire import foot, head, plain
from afterfill.errors import ModelDomainError, UsageError
from afterfill.planning.asked import PLACES, Asked, DoseAt
from afterfill.planning.cautions import Caution, cautions
from afterfill.planning.refill import RefillPlan, plan_refill
from afterfill.planning.shown import Shown
from afterfill.planning.steps import steps
from afterfill.plausible import check_dose
from afterfill.records import RefillMode

_MARK = {"danger": "DANGER", "warning": "warning", "note": "note"}


@dataclass(frozen=True, slots=True)
class PlannedRefill:
    """A plan, what it was made from, what to do in order, and of what to be careful."""

    known: Known
    plan: RefillPlan
    to_do: tuple[str, ...]
    care: tuple[Caution, ...]

    @property
    def is_safe(self) -> bool:
        """Whether it keeps the limits, as far as they can be told."""
        return self.plan.judgement != "over-limits"

    def words(self) -> Iterator[str | Table]:
        """The answer, what to do, the figures, where they come from."""
        known, plan = self.known, self.plan
        yield from _answer(known, plan)
        yield ""
        yield "To do, in order"
        for number, step in enumerate(self.to_do, 1):
            yield f"  {number}. {step}"
        yield ""
        yield "Expected (middle, and from 5 to 95 %)"
        yield Table(("what", "expected", "held against"), figures(known, plan))
        yield "Largest refill, well dosed"
        yield Table(("rule", "keeps up to"), [*_reaches(plan, known.shown)])
        yield "Be careful"
        for caution in self.care:
            yield f"  {_MARK[caution.severity]}: {caution.sentence}"
        if plan.missing:
            yield f"  not known: {unknown_line(plan, known.source_name, known.name)}"
        yield ""
        yield "Worked out from"
        yield used_table(known)
        yield (
            "The tank's own demand for chlorine is not counted. A plan is arithmetic: test the "
            "water."
        )

    def wire(self) -> dict[str, Any]:
        """The JSON object."""
        return {
            **head("plan", self.known),
            "litres": plain(self.plan.asked.litres),
            **plain(self.plan),
            "largest_litres": plain(self.plan.largest_litres),
            "steps": list(self.to_do),
            "cautions": plain(self.care),
            **foot(self.known),
        }


_CONFIGURED = {
    "the tank's pH": "--tank-ph or a pH probe",
    "the tank's temperature": "--tank-temperature",
    "the tank's alkalinity": "alkalinity_mg_l_caco3 in [tank.{tank}]",
    "the tank's ammonia": "--ammonia",
    "the source's pH": "--source-ph or ph in [source.{source}]",
    "the source's alkalinity": "--source-alkalinity or alkalinity_mg_l_caco3 in [source.{source}]",
    "the source's temperature": "--source-temperature or temperature_c in [source.{source}]",
    "the source's disinfectant": "disinfectant in [source.{source}]",
    "the neutraliser": "a table [neutraliser.ID]",
    "the neutraliser's strength": "mg_cl2_per_ml or label in its table",
}


def unknown_line(plan: RefillPlan, source: str, tank: str) -> str:
    """All that is not known, what hangs on it, and what to give or to configure: one line."""
    names = [it.what for it in plan.missing]
    hangs = dict.fromkeys(part for it in plan.missing for part in it.changes.split("; "))
    mended = [_CONFIGURED[name].format(source=source, tank=tank) for name in names]
    unclear = f"{', '.join(names)}; so these cannot be predicted: {'; '.join(hangs)}"
    return f"{unclear}. Give {'; '.join(mended)}."


def planned(known: Known, said: Said) -> PlannedRefill:
    """The plan that is asked for. Raises UsageError for what cannot be poured or dosed."""
    hours = known.standing_hours if said.standing_hours is None else said.standing_hours
    litres, dose_ml = _litres(known, said.litres, said.share), _dose(known, said.dose_ml)
    asked = Asked(litres, _mode(said.mode), _place(said.dose_at), hours, dose_ml)
    tank, tap, bottle, shown = known.tank, known.tap, known.bottle, known.shown
    plan = plan_refill(tank, tap, bottle, known.bounds, asked)
    care = cautions(plan, tank, tap, bottle, known.bounds, shown)
    return PlannedRefill(known, plan, steps(plan, tap, bottle, shown), care)


def _litres(known: Known, litres: str | None, share: str | None) -> float:
    wanted = _volume(litres) if litres is not None else _share(share or "") * known.tank.litres
    if not 0.0 < wanted <= known.tank.litres:
        given = f"--litres {litres}" if litres is not None else f"--share {share}"
        holds = known.shown.volume(known.tank.litres)
        raise UsageError(f"{given}: give more than nothing, and at most the tank's {holds}")
    return wanted


def _volume(text: str) -> float:
    try:
        return litres_from(text)
    except ModelDomainError as error:
        raise UsageError(f"--litres: {error}") from error


def _share(text: str) -> float:
    number = text.strip().removesuffix("%")
    try:
        value = number_from(number)
    except ModelDomainError as error:
        raise UsageError(f"--share {text}: write 25% or 0.25 ({error})") from error
    if number == text.strip() and value > 1.0:
        raise UsageError(f"--share {text}: write {value:g}% or a number up to 1")
    return value if number == text.strip() else value / 100.0


def _mode(text: str) -> RefillMode:
    for mode in get_args(RefillMode):
        if text == mode:
            return "add" if mode == "add" else "replace"
    raise UsageError(f"--mode {text}: write replace or add")


def _place(text: str) -> DoseAt:
    for place in PLACES:
        if text == place:
            return place
    raise UsageError(f"--dose-at {text}: write {', '.join(PLACES)}")


def _dose(known: Known, text: str | None) -> float | None:
    if text is None:
        return None
    unit = "mL" if known.bottle is None else known.bottle.unit
    try:
        ml = dose_from(text, unit)
    except ModelDomainError as error:
        raise UsageError(f"--dose-ml: {error}") from error
    if ml < 0.0:
        raise UsageError(f"--dose-ml is {ml:g}: give 0 or more")
    check_dose(ml, known.name, known.tank.litres, unit)
    return ml


def _answer(known: Known, plan: RefillPlan) -> Iterator[str]:
    volume, whole = known.shown.volume(plan.asked.litres), known.shown.volume(known.tank.litres)
    yield f"{known.name}: refill of {volume}, {plan.fraction:.0%} of {whole}: {_verdict(plan)}"
    if plan.dose is not None and not plan.over:
        yield f"Dose: {dose_words(plan.dose.ml, plan.dose.unit)} into the {plan.dose.at}."
    ml = None if plan.dose is None else plan.dose.ml
    yield from bottle_lines(known.stock, ml, "this refill")


def _verdict(plan: RefillPlan) -> str:
    if plan.judgement == "over-limits":
        return f"NOT SAFE as planned ({', '.join(plan.over)})"
    if plan.judgement == "over-before":
        already = " and ".join(plan.over_before)
        return f"{already} may be over the limit already; the refill makes it no worse"
    if plan.judgement == "cannot-tell":
        return "no limit broken as far as can be told, but not all is known"
    return "keeps within the limits"


def _reaches(plan: RefillPlan, shown: Shown) -> Iterator[tuple[str, str]]:
    for reach in plan.reaches:
        if reach.litres is None:  # what is not known is said once, in one line
            continue
        rule = f"{reach.rule} ({'limit' if reach.kind == 'limit' else 'common practice'})"
        yield rule, _reach(reach.litres, plan, shown)
    few = shown.volume(plan.residual.untreated_litres)
    yield "residual, untreated water", few


def _reach(litres: float, plan: RefillPlan, shown: Shown) -> str:
    if litres <= 0.0:
        return "beyond it before any refill"
    if litres >= plan.asked.litres / plan.fraction * 0.9999:
        return "any refill"
    return shown.volume(litres)
