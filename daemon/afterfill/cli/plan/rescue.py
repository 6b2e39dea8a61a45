"""The rescue plan after a carry-over, in words and as JSON."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from afterfill.chemistry.constants import LEGAL_RESIDUAL
from afterfill.chemistry.doses import dose_words
from afterfill.chemistry.standing import Interval
from afterfill.cli.configured import reading_journal
from afterfill.cli.console import Table
from afterfill.cli.plan.figures import Row, limit_words
from afterfill.cli.plan.inputs import Known, used_table
from afterfill.cli.plan.journal import FRESH_S, Used
from afterfill.cli.plan.stock import bottle_lines
from afterfill.cli.plan.wire import foot, head, plain
from afterfill.cli.spread import spread
from afterfill.cli.times import age
from afterfill.errors import JournalError, UsageError
from afterfill.journal.newest import Newest, newest
from afterfill.planning.found import Found, found_as_believed, found_by_kit
from afterfill.planning.rescue import RescuePlan, plan_rescue
from afterfill.planning.rescue_advice import (
    rescue_donts,
    rescue_steps,
    rescue_tests,
    rescue_vet,
    time_words,
    upper_words,
)
from afterfill.planning.tap_water import ammonia_of_tap
from afterfill.planning.water_after import missing_for_ph
from afterfill.records import Estimate
from afterfill.service.liveness import liveness

_TEST_INSTEAD = "test with DPD total chlorine and give it with --residual"


@dataclass(frozen=True, slots=True)
class PlannedRescue:
    """A plan, what it was made from, and what to do, leave, test and whom to call."""

    known: Known
    plan: RescuePlan
    to_do: tuple[str, ...]
    donts: tuple[str, ...]
    tests: tuple[str, ...]
    vet: str

    @property
    def is_safe(self) -> bool:
        """Whether what is advised can be relied on and breaks no limit, as far as can be told."""
        plan = self.plan
        works = plan.dose_ml == 0.0 or plan.minutes is not None
        return plan.dose_ml is not None and works and not plan.over

    def words(self) -> Iterator[str | Table]:
        """What to do first, then why."""
        known, plan = self.known, self.plan
        meant = "at the most" if plan.dose_ml == 0.0 else "planned for"
        yield f"{known.name}: disinfectant in the tank, {meant} {upper_words(plan)}"
        if plan.found.upper.mg_l <= known.bounds.residual_oxidant_mg_l:
            yield "As far as is known the residual keeps its limit: there is nothing to rescue."
        elif plan.dose_ml == 0.0:
            yield "The test shows nothing: there is nothing to take away, and no dose."
        if plan.dose_ml:
            whole = known.shown.volume(known.tank.litres)
            dose = dose_words(plan.dose_ml, known.bottle.unit if known.bottle else "mL")
            yield f"Dose: {dose} into the tank of {whole}, now."
            yield from bottle_lines(known.stock, plan.dose_ml, "this dose")
        if plan.dose_ml != 0.0:
            yield _verdict(known, plan)
        for number, step in enumerate(self.to_do, 1):
            yield f"  {number}. {step}"
        yield ""
        yield "What not to do"
        yield from (f"  - {dont}" for dont in self.donts)
        yield ""
        yield "Test"
        yield from (f"  - {test}" for test in (*self.tests, self.vet))
        yield ""
        yield "Expected (middle, and from 5 to 95 %)"
        yield Table(("what", "expected", "held against"), [*_rows(known, plan)])
        yield "Worked out from"
        yield used_table(known)

    def wire(self) -> dict[str, Any]:
        """The JSON object."""
        return {
            **head("rescue-plan", self.known),
            **plain(self.plan),
            "steps": list(self.to_do),
            "not_to_do": list(self.donts),
            "tests": list(self.tests),
            "vet": self.vet,
            **foot(self.known),
        }


def rescued(journal_path: Path, known: Known, residual_mg_l: float | None) -> PlannedRescue:
    """The rescue plan, by a kit's residual or the journal's estimate.

    Raises UsageError for a residual that cannot be, JournalError when there is no fresh estimate
    to go by.
    """
    if residual_mg_l is None:
        found, used = _by_journal(journal_path, known)
    else:
        found, used = _by_kit(residual_mg_l, known)
    known = replace(known, used=(used, *known.used))
    plan = plan_rescue(
        known.tank,
        found,
        known.bottle,
        known.bounds,
        ammonia_counts_bound=known.ammonia_counts_bound,
        next_water_ammonia_mg_l=ammonia_of_tap(known.tap).high,
    )
    to_do = rescue_steps(plan, known.tank, known.bottle, known.shown)
    tests = rescue_tests(plan, known.bottle, known.shown)
    return PlannedRescue(known, plan, to_do, rescue_donts(), tests, rescue_vet())


def _verdict(known: Known, plan: RescuePlan) -> str:
    """How the tank stands when all is done as advised."""
    if plan.over:
        return f"NOT within its limits when all is done as advised: {', '.join(plan.over)}."
    if None in (plan.ph_ahead, plan.ph_lowest, plan.air):
        missing = missing_for_ph(known.tank, known.tap, tank_only=True)
        give = (
            f"give {', '.join(missing)}" if missing else "no pH fits this water: measure it again"
        )
        return f"What it does to pH and free ammonia is not known: {give}."
    return "Done as advised, the tank keeps its other limits."


def _by_kit(residual: float, known: Known) -> tuple[Found, Used]:
    if not 0.0 <= residual <= 100.0:
        raise UsageError(f"--residual is {residual:g}: give mg/L as Cl2 from 0 to 100")
    found = found_by_kit(residual, known.tap.disinfectant)
    return found, Used("residual", f"{residual:g} mg/L", "option, a kit's error")


def _by_journal(path: Path, known: Known) -> tuple[Found, Used]:
    newest = _newest(path, known.name)
    old_s = liveness(path).age_s(newest.stamp)
    if old_s > FRESH_S:
        raise JournalError(
            f"the newest estimate of tank {known.name} is {age(old_s)} old: {_TEST_INSTEAD}"
        )
    found = _found(newest.record, known)
    text = f"{spread(found.residual_mg_l)} mg/L"
    return found, Used("residual", text, f"journal's estimate, {age(old_s)} old")


def _newest(path: Path, name: str) -> Newest[Estimate]:
    try:
        with reading_journal(path) as journal:
            estimate = newest(journal, Estimate, name)
    except JournalError as error:
        raise JournalError(f"{error}; {_TEST_INSTEAD}") from error
    if estimate is None:
        raise JournalError(f"the journal {path} holds no estimate of tank {name}: {_TEST_INSTEAD}")
    return estimate


def _found(estimate: Estimate, known: Known) -> Found:
    residual = Interval(*estimate.residual_mg_l)
    most = known.tap.residual_max_mg_l
    if not known.max_is_given:
        most = max(most, LEGAL_RESIDUAL.value)
    return found_as_believed(residual, Interval(*estimate.free_chlorine_mg_l), most)


def _rows(known: Known, plan: RescuePlan) -> Iterator[Row]:
    residual, bounds = plan.found.residual_mg_l, known.bounds
    limit = limit_words(bounds.residual_oxidant_mg_l, bounds.residual_source)
    yield "residual now", f"{spread(residual)} mg/L", limit
    if plan.dose_ml != 0.0:
        yield "dose is for", upper_words(plan), f"times {plan.safety:.2g} for the bottle's strength"
        yield "gone after the dose", *_gone(plan)
        yield from _harm(plan)
    yield "ammonia set free", f"up to {plan.released_mg_l:.2g} mg/L as N", ""
    if plan.total_ammonia_mg_l is not None:
        yield "total ammonia then", f"{spread(plan.total_ammonia_mg_l)} mg/L as N", ""
    held = limit_words(bounds.free_ammonia_mg_l, bounds.free_ammonia_source)
    advised, free = plan.free_as_advised_mg_l, plan.free_ammonia_mg_l
    if advised is not None and plan.air is not None:
        yield "free ammonia, as advised", f"up to {advised:.2g} mg/L as N", held
    if free is not None:
        yield "free ammonia, aerated for a day", f"{spread(free)} mg/L as N", held
    yield from _water(known, plan)


def _harm(plan: RescuePlan) -> Iterator[Row]:
    if plan.fish is None:
        return
    law = "half of what kills half of young chinook salmon (Farrell 2001, abstract; secondary)"
    more = "and fish 3.3 times as sensitive (Brooks & Bartos 1984, abstract); no deadline"
    yield "harm is likely within", time_words(plan.fish.middle), law
    yield "harm is likely within, at the worst", time_words(plan.fish.upper), more


def _water(known: Known, plan: RescuePlan) -> Iterator[Row]:
    """pH, alkalinity and oxygen."""
    bounds, low, high = known.bounds, *known.bounds.ph
    held = f"limits {low:g} to {high:g}"
    if plan.air is not None:
        yield "pH, as advised", f"{plan.air.ph:.2f} after {plan.air.hours:g} h of air", held
    if plan.ph_ahead is not None:
        yield "pH, aerated for a day", f"{plan.ph_ahead.highest:.2f}", held
    if plan.dose_ml == 0.0:
        return
    if plan.ph_lowest is not None:
        yield "pH, days after", f"{plan.ph_lowest:.2f}", held
    taken = f"up to {known.shown.alkalinity(plan.alkalinity_later_mg_l_caco3)}"
    yield "alkalinity taken, days after", taken, "neutraliser and ammonia"
    if plan.oxygen_left_mg_l is not None:
        least = f"least {bounds.oxygen_mg_l:g} ({bounds.oxygen_source})"
        left = f"{max(plan.oxygen_left_mg_l, 0.0):.1f} of {plan.oxygen_saturated_mg_l:.1f} mg/L"
        yield "oxygen left at the worst", left, least


def _gone(plan: RescuePlan) -> tuple[str, str]:
    if plan.minutes is None:
        return "not to be counted on", "ascorbate and chloramine: uncertain"
    return f"{plan.minutes[0]:g} to {plan.minutes[1]:g} min", "DPD total must show nothing"
