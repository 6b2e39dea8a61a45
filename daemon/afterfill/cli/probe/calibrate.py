"""`afterfill probe calibrate`: a probe in buffers or a standard, guided; what it is worth."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import typer

from afterfill.chemistry import electrode
from afterfill.chemistry.calibration import correction_ph, point_of
from afterfill.chemistry.standards import buffer_ph, orp_standard_mv
from afterfill.chemistry.units import celsius_from
from afterfill.cli.console import notice, tell
from afterfill.cli.probe.hold import Held, held, until_steady
from afterfill.cli.probe.lent import back_in_the_tank, lent
from afterfill.cli.probe.said import Liquids, Patience, Which
from afterfill.cli.submission import submitted
from afterfill.cli.times import present_s
from afterfill.errors import ModelDomainError, UsageError
from afterfill.records import Calibration, Service
from afterfill.tank_table import shown_in

CAUTIONS = (
    "Wear gloves and eye protection; read the labels. Pour buffers into cups and never back.",
    "Nothing of a buffer or standard may get into the tank: rinse the probe with distilled water",
    "before and after each. Do not mix the liquids. Keep them from children and animals.",
)
_AT_PH = 7.5  # fish tanks lie around it; common practice, no source
_ELSEWHERE_PH = (6.5, 8.5)


@dataclass(frozen=True, slots=True)
class _Outcome:
    """What a calibration found; `offset` is what the [[probe]] table should say from now on, in
    the probe's unit; `slope_share` of the ideal, None where only an offset was found."""

    probe: Held
    kind: Literal["ph", "orp"]
    verdict: electrode.Verdict
    offset: float
    slope_share: float | None
    points: tuple[tuple[float, float], ...]  # what it should have shown, what it showed
    remark: str

    def words(self) -> Iterator[str]:
        name, before = self.probe.name, self.probe.offset
        yield f"{name}: {self.verdict.health} ({self.verdict.reason})"
        yield f"In its [[probe]] table write  offset = {self.offset:g}  (now {before:g}):"
        yield f"  {self.remark}."
        yield "No reading changes before you do. The journal keeps that it was calibrated today."
        if self.kind == "orp":
            yield "What was learnt of this probe is forgotten; it settles for 3 hours."

    def wire(self) -> dict[str, Any]:
        it = self.probe
        return {
            "kind": "calibration", "tank": it.tank, "probe": it.name, "quantity": self.kind,
            "from": it.source, "health": self.verdict.health, "why": self.verdict.reason,
            "slope_share": self.slope_share, "offset": self.offset, "offset_before": it.offset,
            "points": [{"true": true, "shown": shown} for true, shown in self.points],
        }  # fmt: skip


def calibrated(quantity: str, liquids: Liquids, which: Which, patience: Patience) -> bool:
    """Guide through the liquids and print what was found; whether the probe can be used.

    Raises UsageError for what cannot be, DeviceUnavailable when the probe is away.
    """
    kind = _kind(quantity)
    _check_use(kind, liquids)
    it = held(which, kind)
    for line in CAUTIONS:
        notice(line)
    try:
        celsius = _celsius(liquids.temperature)
        if kind == "ph":
            outcome = _in_buffers(it, liquids.buffers or ["7.00", "4.00"], celsius, patience)
        else:
            outcome = _in_standard(it, liquids, celsius, patience)
    except ModelDomainError as error:  # a liquid that is not known, or not at this temperature
        raise UsageError(str(error)) from error
    tell(outcome.words(), outcome.wire(), as_json=which.as_json)
    return outcome.verdict.health not in ("replace", "check the buffers")


def _kind(text: str) -> Literal["ph", "orp"]:
    if text == "ph":
        return "ph"
    if text == "orp":
        return "orp"
    raise UsageError(f"--quantity {text}: ph and orp can be calibrated")


def _check_use(kind: str, it: Liquids) -> None:
    if kind == "ph" and (it.standard is not None or it.standard_mv is not None):
        raise UsageError("a pH probe is held in buffers: give --buffer, not --standard")
    if kind == "orp" and it.buffers:
        raise UsageError("an ORP probe is held in a standard: give --standard, not --buffer")
    if it.standard is not None and it.standard_mv is not None:
        raise UsageError("--standard and --standard-mv exclude each other: leave one out")
    if kind == "ph" and it.buffers is not None and not 2 <= len(it.buffers) <= 3:
        raise UsageError("give --buffer two or three times, such as --buffer 7.00 --buffer 4.00")


def _celsius(given: str | None) -> float:
    if given is not None:
        return celsius_from(given)
    while True:
        typed = typer.prompt("Temperature of the liquids, C or '72 F'", default="25", err=True)
        try:
            return celsius_from(typed)
        except ModelDomainError as error:
            typer.echo(str(error), err=True)


def _in_buffers(it: Held, names: Sequence[str], celsius: float, patience: Patience) -> _Outcome:
    true = [buffer_ph(name, celsius) for name in names]  # before anything is asked for
    at = shown_in(it.config.units).temperature(celsius)
    with lent(it):
        shown = [
            _shown(it, f"buffer {name} (pH {ph:.2f} at {at})", patience)
            for name, ph in zip(names, true, strict=True)
        ]
        found = electrode.calibrate(
            [point_of(s - it.offset, ph, celsius) for s, ph in zip(shown, true, strict=True)]
        )
        add = correction_ph(found, _AT_PH, celsius)
        _recorded(it, "ph", round(found.slope_share, 4), add)
        back_in_the_tank(it)
    points = tuple(zip(true, shown, strict=True))
    remark = _elsewhere(found, add, celsius)
    share = round(found.slope_share, 4)
    return _Outcome(it, "ph", electrode.health(found), add, share, points, remark)


def _elsewhere(found: electrode.Calibration, add: float, celsius: float) -> str:
    """An offset alone mends one pH; what stays wrong at others."""
    left = [f"{add - correction_ph(found, ph, celsius):+.2f} at pH {ph:g}" for ph in _ELSEWHERE_PH]
    return (
        f"with it the probe is right at pH {_AT_PH:g} and off by {' and '.join(left)}; to mend the "
        "slope too, calibrate the meter itself, by its own guide"
    )


def _in_standard(it: Held, liquids: Liquids, celsius: float, patience: Patience) -> _Outcome:
    if liquids.standard_mv is not None:
        called, true = "the standard", liquids.standard_mv
    else:
        called = liquids.standard or "quinhydrone-4"
        true = orp_standard_mv(called, celsius)
    at = shown_in(it.config.units).temperature(celsius)
    with lent(it):
        shown = _shown(it, f"{called} ({true:.0f} mV at {at})", patience)
        offset = round(true - (shown - it.offset), 1)  # the probe itself, not its mending
        submitted(it.journal_path, Service(present_s(), it.tank, "probe", quantity="orp"))
        _recorded(it, "orp", None, offset)
        back_in_the_tank(it)
    remark = "agreement in a standard does not make two probes agree in tap water"
    health = electrode.orp_health(offset)
    return _Outcome(it, "orp", health, offset, None, ((true, shown),), remark)


def _shown(it: Held, liquid: str, patience: Patience) -> float:
    """What the probe shows in the liquid once it stands still."""
    typer.prompt(
        f"Rinse the probe, hold it in {liquid}, then press Enter", default="", err=True,
        show_default=False,
    )  # fmt: skip
    value = until_steady(it, patience).value
    if value is None:
        notice(
            f"the probe did not stand still within {patience.most_s / 60.0:g} min in {liquid}: "
            "nothing was recorded. Stir gently, clean the probe, or take fresh liquid"
        )
        raise typer.Exit(1)
    notice(f"  stands still at {value:.2f}")
    return value


def _recorded(
    it: Held, kind: Literal["ph", "orp"], slope_share: float | None, offset: float
) -> None:
    event = Calibration(present_s(), it.tank, kind, it.name, slope_share, offset)
    submitted(it.journal_path, event)
