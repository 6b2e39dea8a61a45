"""The rescue plan after a carry-over, in words and as JSON."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from afterfill.chemistry.constants import LEGAL_RESIDUAL
from afterfill.chemistry.standing import Interval
from afterfill.cli.configured import reading_journal
from afterfill.cli.console import Table
from afterfill.cli.plan.figures import Row
from afterfill.cli.plan.inputs import Known, used_table
from afterfill.cli.plan.journal import FRESH_S, Used
from afterfill.cli.plan.wire import foot, head, plain
from afterfill.cli.spread import spread
from afterfill.cli.times import age
from afterfill.errors import JournalError, UsageError
from afterfill.journal.newest import Newest, newest
from afterfill.planning.rescue import Found, RescuePlan, found_by_kit, plan_rescue, upper_of
from afterfill.planning.rescue_advice import (
    rescue_donts,
    rescue_steps,
    rescue_tests,
    rescue_vet,
    time_words,
    upper_words,
)
from afterfill.planning.shown import millilitres
from afterfill.planning.tap_water import ammonia_of_tap
from afterfill.records import Estimate
from afterfill.service.liveness import liveness

_TRACE_MG_L = 1e-4
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
        """Whether a dose that can be relied on is known."""
        return self.plan.dose_ml is not None and self.plan.minutes is not None

    def words(self) -> Iterator[str | Table]:
        """What to do first, then why."""
        known, plan = self.known, self.plan
        yield f"{known.name}: disinfectant in the tank, planned for {upper_words(plan)}"
        if plan.found.upper.mg_l <= known.bounds.residual_oxidant_mg_l:
            yield "As far as is known the residual keeps its limit: there is nothing to rescue."
        if plan.dose_ml is not None:
            whole = known.shown.volume(known.tank.litres)
            yield f"Dose: {millilitres(plan.dose_ml)} into the tank of {whole}, now."
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
        found, used = _by_kit(residual_mg_l)
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
    return PlannedRescue(known, plan, to_do, rescue_donts(), rescue_tests(plan), rescue_vet())


def _by_kit(residual: float) -> tuple[Found, Used]:
    if not 0.0 <= residual <= 100.0:
        raise UsageError(f"--residual is {residual:g}: give mg/L as Cl2 from 0 to 100")
    return found_by_kit(residual), Used("residual", f"{residual:g} mg/L", "option, a kit's error")


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
    share = None
    if residual.middle > _TRACE_MG_L:
        share = min(estimate.free_chlorine_mg_l.q50 / residual.middle, 1.0)
    return Found(residual, upper_of(residual, most), share)


def _rows(known: Known, plan: RescuePlan) -> Iterator[Row]:
    residual, bounds = plan.found.residual_mg_l, known.bounds
    limit = f"limit {bounds.residual_oxidant_mg_l:.3g}"
    yield "residual now", f"{spread(residual)} mg/L", limit
    yield "dose is for", upper_words(plan), f"times {plan.safety:.2g} for the bottle's strength"
    yield "gone after the dose", *_gone(plan)
    if plan.fish is not None:
        law = "half of young chinook salmon; other fish may differ several times"
        yield "fish have, as it is", time_words(plan.fish.middle), law
        yield "fish have, at the worst", time_words(plan.fish.upper), law
    yield "ammonia set free", f"up to {plan.released_mg_l:.2g} mg/L as N", ""
    if plan.total_ammonia_mg_l is not None:
        yield "total ammonia then", f"{spread(plan.total_ammonia_mg_l)} mg/L as N", ""
    free = plan.free_ammonia_mg_l
    held = f"limit {bounds.free_ammonia_mg_l:.2g}"
    text = "not known without pH" if free is None else f"{spread(free)} mg/L as N"
    yield "free ammonia then", text, held
    oxygen, full = plan.oxygen_at_risk_mg_l, plan.oxygen_saturated_mg_l
    taken = "not known" if oxygen is None else f"up to {oxygen:.2g} mg/L"
    taken = "hardly any" if oxygen == 0.0 else taken
    yield "oxygen taken by surplus", taken, "" if full is None else f"saturation {full:.1f} mg/L"


def _gone(plan: RescuePlan) -> tuple[str, str]:
    if plan.minutes is None:
        return "not to be counted on", "ascorbate and chloramine: uncertain"
    return f"{plan.minutes[0]:g} to {plan.minutes[1]:g} min", "DPD total must show nothing"
