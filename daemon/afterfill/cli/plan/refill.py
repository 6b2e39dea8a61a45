"""Runs and shows the plan of a refill."""

from collections.abc import Iterator
from typing import get_args

from afterfill.chemistry.units import litres_from
from afterfill.cli.console import say, say_json, say_table
from afterfill.cli.plan.figures import figures
from afterfill.cli.plan.inputs import Known
from afterfill.cli.plan.wire import refill_wire
from afterfill.errors import ModelDomainError, UsageError
from afterfill.planning.asked import PLACES, Asked, DoseAt
from afterfill.planning.cautions import Caution, cautions
from afterfill.planning.refill import RefillPlan, plan_refill
from afterfill.planning.shown import Shown, millilitres
from afterfill.planning.steps import steps
from afterfill.plausible import check_dose
from afterfill.records import RefillMode

_MARK = {"danger": "DANGER", "warning": "warning", "note": "note"}


def planned(
    known: Known,
    amount: tuple[str | None, str | None],
    how: tuple[str, str],
    dose_ml: float | None,
    standing_hours: float | None,
    *,
    as_json: bool,
) -> bool:
    """Print the plan for `amount` (litres, share) and `how` (mode, place of the dose).

    Returns whether it keeps the limits, as far as they can be told. Raises UsageError.
    """
    hours = known.standing_hours if standing_hours is None else standing_hours
    asked = Asked(
        _litres(known, *amount), _mode(how[0]), _place(how[1]), hours, _dose(known, dose_ml)
    )
    plan = plan_refill(known.tank, known.tap, known.bottle, known.bounds, asked)
    to_do = steps(plan, known.tap, known.bottle, known.shown)
    care = cautions(plan, known.tank, known.tap, known.bottle, known.bounds, known.shown)
    if as_json:
        say_json(refill_wire(known, plan, to_do, care))
    else:
        _show(known, plan, to_do, care)
    return plan.judgement != "over-limits"


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
        value = float(number)
    except ValueError:
        raise UsageError(f"--share {text}: write 25% or 0.25") from None
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


def _dose(known: Known, ml: float | None) -> float | None:
    if ml is not None and not ml >= 0.0:
        raise UsageError(f"--dose-ml is {ml:g}: give 0 or more")
    check_dose(ml, known.name, known.tank.litres)
    return ml


def _show(
    known: Known, plan: RefillPlan, to_do: tuple[str, ...], care: tuple[Caution, ...]
) -> None:
    for line in _answer(known, plan, to_do):
        say(line)
    say("")
    say("Expected (middle, and from 5 to 95 %)")
    say_table(("what", "expected", "held against"), figures(known, plan))
    say("Largest refill, well dosed")
    say_table(("rule", "keeps up to"), [*_reaches(plan, known.shown)])
    say("Be careful")
    for caution in care:
        say(f"  {_MARK[caution.severity]}: {caution.sentence}")
    for missing in plan.missing:
        say(f"  not known: {missing.what}, so nor {missing.changes}.")
    say("")
    say("Worked out from")
    say_table(("what", "value", "from"), [(u.what, u.value, u.origin) for u in known.used])
    say("The tank's own demand for chlorine is not counted. A plan is arithmetic: test the water.")


def _answer(known: Known, plan: RefillPlan, to_do: tuple[str, ...]) -> Iterator[str]:
    volume, whole = known.shown.volume(plan.asked.litres), known.shown.volume(known.tank.litres)
    yield f"{known.name}: refill of {volume}, {plan.fraction:.0%} of {whole}: {_verdict(plan)}"
    if plan.dose is not None and not plan.over:
        yield f"Dose: {millilitres(plan.dose.ml)} into the {plan.dose.at}."
    yield "\nTo do, in order"
    for number, step in enumerate(to_do, 1):
        yield f"  {number}. {step}"


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
        rule = f"{reach.rule} ({'limit' if reach.kind == 'limit' else 'common practice'})"
        yield rule, _reach(reach.litres, plan, shown)
    few = shown.volume(plan.residual.untreated_litres)
    yield "residual, untreated water", few


def _reach(litres: float | None, plan: RefillPlan, shown: Shown) -> str:
    if litres is None:
        return "not known"
    if litres <= 0.0:
        return "beyond it before any refill"
    if litres >= plan.asked.litres / plan.fraction * 0.9999:
        return "any refill"
    return shown.volume(litres)
