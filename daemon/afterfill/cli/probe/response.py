"""`afterfill probe response`: the ORP probe in conditioned and in raw water; what it teaches."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import typer

from afterfill.chemistry.calibration import rise_s
from afterfill.cli.configured import named
from afterfill.cli.console import notice, tell
from afterfill.cli.probe.hold import Held, held, until_steady
from afterfill.cli.probe.lent import back_in_the_tank, lent
from afterfill.cli.probe.said import Patience, RawWater, Which
from afterfill.cli.submission import submitted
from afterfill.cli.times import present_s
from afterfill.config import Config
from afterfill.errors import DeviceUnavailable, UsageError
from afterfill.inference.calibration.learnt import Learnt
from afterfill.inference.calibration.response_check import step_expected_mv, updated_by_check
from afterfill.inference.conditions import hocl_at
from afterfill.inference.model.electrode import LOGARITHMIC
from afterfill.inference.monitor.baseline import noise_of
from afterfill.inference.posterior.detection_limit import detection_limit_mg_l
from afterfill.journal.store import Journal
from afterfill.records import ResponseCheck, Service
from afterfill.service.restore import restored
from afterfill.tank_setup import tank_setup
from afterfill.wire import to_wire

CAUTIONS = (
    "You need two cups of tap water of the same temperature: one conditioned as its label says and",
    "left for ten minutes, one raw, drawn just before it is used. Raw water is for the cup alone:",
    "it must never get into the tank, nor a wet probe from it. Rinse the probe with conditioned",
    "water before it goes back. Do not mix the cups, nor any chemicals.",
)
_STEADY_SD_MV, _MOVING_SD_MV = 3.0, 10.0  # of a step; our judgement
_LEAST_STEP_MV = 10.0  # what any probe wanders by when it changes cups; our judgement


@dataclass(frozen=True, slots=True)
class _Floors:
    """Detection floor after an announced refill [mg/L as Cl2], and the step expected [mV]."""

    before_mg_l: float
    after_mg_l: float
    expected_before_mv: float
    expected_after_mv: float


@dataclass(frozen=True, slots=True)
class _Taught:
    """What the check found; `rise_s`: the seconds in which the step rose by 63 %, if it did."""

    probe: Held
    check: ResponseCheck
    rise_s: float | None
    floors: _Floors

    def words(self) -> Iterator[str]:
        check, floors = self.check, self.floors
        rose = "" if self.rise_s is None else f", 63 % of it within {self.rise_s:.0f} s"
        total = check.free_chlorine_mg_l + check.combined_chlorine_mg_l
        yield f"{self.probe.name}: {check.step_mv:.0f} mV for {total:.2g} mg/L{rose}"
        yield f"  expected before  {floors.expected_before_mv:.0f} mV"
        yield f"  expected now     {floors.expected_after_mv:.0f} mV"
        yield (
            f"Detection floor after an announced refill: {floors.before_mg_l:.2g} mg/L before, "
            f"{floors.after_mg_l:.2g} mg/L now."
        )
        yield "Rinse the probe with conditioned water and put it back; it settles for 3 hours."

    def wire(self) -> dict[str, Any]:
        floors = self.floors
        return {
            **to_wire(self.check), "from": self.probe.source, "rise_s": self.rise_s,
            "expected_before_mv": round(floors.expected_before_mv, 1),
            "expected_after_mv": round(floors.expected_after_mv, 1),
            "floor_before_mg_l": round(floors.before_mg_l, 4),
            "floor_after_mg_l": round(floors.after_mg_l, 4),
        }  # fmt: skip


def taught(water: RawWater, which: Which, patience: Patience) -> None:
    """Guide through the two cups and print what they taught; ends with 1 when that is nothing.

    Raises UsageError for what cannot be, DeviceUnavailable when the probe is away.
    """
    it = held(which, "orp")
    chlorine = _chlorine(it.config, it.tank, water)
    for line in CAUTIONS:
        notice(line)
    with lent(it):
        check, rose_s = _checked(it, patience, water, chlorine)
        floors = _floors(it, check)
        # what was learnt before is forgotten, so that the check alone tells of this probe
        submitted(it.journal_path, Service(present_s(), it.tank, "probe", quantity="orp"))
        submitted(it.journal_path, check)
        back_in_the_tank(it, "with conditioned water")
    found = _Taught(it, check, rose_s, floors)
    tell(found.words(), found.wire(), as_json=which.as_json)


def _chlorine(settings: Config, tank: str, water: RawWater) -> tuple[float, float]:
    """Free and combined chlorine of the raw water [mg/L as Cl2].

    Raises UsageError where the source is not told, or it is not known which of them it holds.
    """
    if water.source is not None:
        named(water.source, settings.source, "source")
    table = settings.source_of(tank, water.source)
    if table is None or table.disinfectant == "unknown":
        raise UsageError(
            "it is not known whether the tap holds chlorine or chloramine: ask the utility and "
            "write `disinfectant` into its [source.ID] table"
        )
    total = table.residual_mg_l if water.residual_mg_l is None else water.residual_mg_l
    if not 0.05 <= total <= 10.0:
        raise UsageError(
            f"{total:g} mg/L in the raw water checks no response: it takes 0.05 to 10 mg/L"
        )
    return (total, 0.0) if table.disinfectant == "chlorine" else (0.0, total)


def _checked(
    it: Held, patience: Patience, water: RawWater, chlorine: tuple[float, float]
) -> tuple[ResponseCheck, float | None]:
    """The check, and the seconds in which the step rose, by 63 %."""
    low_mv, low_samples, low_still = _held_in(it, "CONDITIONED water", patience)
    high_mv, samples, high_still = _held_in(it, "RAW tap water", patience)
    step_mv = round(high_mv - low_mv, 2)
    if step_mv < _LEAST_STEP_MV or not low_samples:
        notice(
            f"{it.name} moved by {step_mv:+.1f} mV only: nothing is taught. Were the cups swapped? "
            "Else test the raw water with DPD, clean the probe by its maker's guide, and try again"
        )
        raise typer.Exit(1)
    sd_mv = _STEADY_SD_MV if low_still and high_still else _MOVING_SD_MV
    measured = water.residual_mg_l is not None
    check = ResponseCheck(
        present_s(), it.tank, step_mv, sd_mv, *chlorine, measured, water.ph, it.name
    )
    return check, rise_s(samples, low_mv, high_mv)


def _held_in(
    it: Held, liquid: str, patience: Patience
) -> tuple[float, list[tuple[float, float]], bool]:
    """Where the probe came to, on what way, and whether it stood still there."""
    typer.prompt(
        f"Hold the ORP probe in the {liquid}, stir gently, then press Enter", default="", err=True,
        show_default=False,
    )  # fmt: skip
    course = until_steady(it, patience)
    if not course.samples:
        raise DeviceUnavailable(
            f"{it.name} gave no usable reading in the {liquid}: see `afterfill probe read "
            f"{it.name}`; nothing was taught"
        )
    if course.value is None:
        last_mv = course.samples[-1][1]
        notice(f"  still moving after {patience.most_s / 60.0:g} min: {last_mv:.1f} mV is taken")
        return last_mv, course.samples, False
    notice(f"  stands still at {course.value:.1f} mV")
    return course.value, course.samples, True


def _floors(it: Held, check: ResponseCheck) -> _Floors:
    """The floor as it was known before, and as it is after this check of a probe just met."""
    with Journal.open(it.journal_path, read_only=True) as journal:
        state, at_s = restored(journal, tank_setup(it.config, it.tank))
    belief = state.belief
    noise_mv, hocl = noise_of(belief.baseline), hocl_at(belief, at_s)
    combined = check.combined_chlorine_mg_l > 0.0
    before, after = belief.learnt, updated_by_check(Learnt(), check)
    was, is_ = (
        detection_limit_mg_l(learnt, LOGARITHMIC, noise_mv, True, hocl, combined)
        for learnt in (before, after)
    )
    return _Floors(was, is_, step_expected_mv(before, check), step_expected_mv(after, check))
