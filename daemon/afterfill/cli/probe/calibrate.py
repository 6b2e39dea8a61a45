"""`afterfill probe calibrate`: a probe in buffers or a standard, guided; what it is worth."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from afterfill.cli.options import (
    ConfigOption,
    EveryOption,
    JsonOption,
    ProbeOption,
    StillOption,
    TankOption,
    loaded,
)
from afterfill.errors import ModelDomainError, UsageError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from afterfill.chemistry.electrode import Calibration, Verdict
    from afterfill.cli.probe.hold import Held, Patience

CAUTIONS = (
    "Wear gloves and eye protection; read the labels. Pour buffers into cups and never back.",
    "Nothing of a buffer or standard may get into the tank: rinse the probe with distilled water",
    "before and after each. Do not mix the liquids. Keep them from children and animals.",
)
_AT_PH = 7.5  # fish tanks lie around it; common practice, no source
_ELSEWHERE_PH = (6.5, 8.5)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a calibration found; `offset` is what the [[probe]] table should say from now on, in
    the probe's unit; `slope_share` of the ideal, None where only an offset was found."""

    verdict: "Verdict"
    offset: float
    slope_share: float | None
    points: tuple[tuple[float, float], ...]  # what it should have shown, what it showed
    remark: str = ""


def calibrate(
    quantity: Annotated[str, typer.Option(help="ph or orp.")],
    buffer: Annotated[
        list[str] | None,
        typer.Option(
            help="pH buffers, in order: 7.00 4.00 10.01 (technical) or phosphate phthalate borax "
            "(NIST). Give it twice or thrice. Default: 7.00 and 4.00."
        ),
    ] = None,
    standard: Annotated[
        str | None, typer.Option(help="ORP standard: zobell, quinhydrone-4 or quinhydrone-6.86.")
    ] = None,
    standard_mv: Annotated[
        float | None,
        typer.Option(help="Instead: what the bottle says the probe must show at this temperature."),
    ] = None,
    temperature: Annotated[
        str | None, typer.Option(help="Of the liquids: 22.5 or '72 F'. Left out: asked.")
    ] = None,
    still_seconds: StillOption = 30.0,
    every: EveryOption = 3.0,
    most_minutes: Annotated[
        float, typer.Option(min=0.01, max=60, help="Give up on a liquid after this long.")
    ] = 10.0,
    probe: ProbeOption = None,
    tank: TankOption = None,
    config: ConfigOption = None,
    as_json: JsonOption = False,
) -> None:
    """Hold a pH probe in buffers, or an ORP probe in a standard, and learn what it is worth.

    Asks for each liquid in turn, waits until the probe stands still, and says how the probe is
    and what `offset` belongs into its [[probe]] table: no reading changes by itself. The journal
    keeps that it was calibrated. An ORP probe's learnt response is forgotten. Ends with 1 when
    the probe should be replaced, the buffers are doubtful, or it never stood still.
    """
    from afterfill.cli.console import notice
    from afterfill.cli.probe.hold import Patience, held

    settings, journal_path = loaded(config)
    kind = _kind(quantity)
    patience = Patience(still_seconds, every, 60.0 * most_minutes)
    _check_use(kind, buffer, standard, standard_mv)
    it = held(settings, journal_path, tank, kind, probe)
    for line in CAUTIONS:
        notice(line)
    try:
        celsius = _celsius(temperature)
        if kind == "ph":
            outcome = _in_buffers(it, buffer or ["7.00", "4.00"], celsius, patience)
        else:
            outcome = _in_standard(it, standard or "quinhydrone-4", standard_mv, celsius, patience)
    except ModelDomainError as error:  # a liquid that nobody knows, or not at this temperature
        raise UsageError(str(error)) from error
    _say(it, kind, outcome, as_json)
    if outcome.verdict.health in ("replace", "check the buffers"):
        raise typer.Exit(1)


def _kind(text: str) -> Literal["ph", "orp"]:
    if text == "ph":
        return "ph"
    if text == "orp":
        return "orp"
    raise UsageError(f"--quantity {text}: ph and orp can be calibrated")


def _check_use(
    kind: str, buffer: "Sequence[str] | None", standard: str | None, standard_mv: float | None
) -> None:
    if kind == "ph" and (standard is not None or standard_mv is not None):
        raise UsageError("a pH probe is held in buffers: give --buffer, not --standard")
    if kind == "orp" and buffer:
        raise UsageError("an ORP probe is held in a standard: give --standard, not --buffer")
    if standard is not None and standard_mv is not None:
        raise UsageError("--standard and --standard-mv exclude each other: leave one out")
    if kind == "ph" and buffer is not None and not 2 <= len(buffer) <= 3:
        raise UsageError("give --buffer two or three times, such as --buffer 7.00 --buffer 4.00")


def _celsius(given: str | None) -> float:
    from afterfill.chemistry.units import celsius_from

    if given is not None:
        return celsius_from(given)
    while True:
        typed = typer.prompt("Temperature of the liquids, C or '72 F'", default="25", err=True)
        try:
            return celsius_from(typed)
        except ModelDomainError as error:
            typer.echo(str(error), err=True)


def _in_buffers(
    it: "Held", names: "Sequence[str]", celsius: float, patience: "Patience"
) -> Outcome:
    from afterfill.chemistry import electrode
    from afterfill.chemistry.calibration import correction_ph, point_of
    from afterfill.chemistry.standards import buffer_ph
    from afterfill.cli.probe.lent import back_in_the_tank, lent

    true = [buffer_ph(name, celsius) for name in names]  # before anybody is asked to do anything
    with lent(it):
        shown = [
            _shown(it, f"buffer {name} (pH {ph:.2f} at {celsius:g} C)", patience)
            for name, ph in zip(names, true, strict=True)
        ]
        found = electrode.calibrate(
            [point_of(s - it.offset, ph, celsius) for s, ph in zip(shown, true, strict=True)]
        )
        add = correction_ph(found, _AT_PH, celsius)
        _recorded(it, "ph", round(found.slope_share, 4), add)
        back_in_the_tank(it)
    return Outcome(
        electrode.health(found), add, round(found.slope_share, 4),
        tuple(zip(true, shown, strict=True)), _elsewhere(found, add, celsius),
    )  # fmt: skip


def _elsewhere(found: "Calibration", add: float, celsius: float) -> str:
    """An offset alone mends one pH; what stays wrong at others."""
    from afterfill.chemistry.calibration import correction_ph

    left = [f"{add - correction_ph(found, ph, celsius):+.2f} at pH {ph:g}" for ph in _ELSEWHERE_PH]
    return (
        f"with it the probe is right at pH {_AT_PH:g} and off by {' and '.join(left)}; to mend the "
        "slope too, calibrate the meter itself, by its own guide"
    )


def _in_standard(
    it: "Held", standard: str, standard_mv: float | None, celsius: float, patience: "Patience"
) -> Outcome:
    from afterfill.chemistry import electrode
    from afterfill.chemistry.standards import orp_standard_mv
    from afterfill.cli.probe.lent import back_in_the_tank, lent, submitted_by_hand
    from afterfill.records import Service

    true = orp_standard_mv(standard, celsius) if standard_mv is None else standard_mv
    called = "the standard" if standard_mv is not None else standard
    with lent(it):
        shown = _shown(it, f"{called} ({true:.0f} mV at {celsius:g} C)", patience)
        offset = round(true - (shown - it.offset), 1)  # the probe itself, not its mending
        submitted_by_hand(it, Service(_now_s(), it.tank, "probe", quantity="orp"))
        _recorded(it, "orp", None, offset)
        back_in_the_tank(it)
    return Outcome(
        electrode.orp_health(offset), offset, None,
        ((true, shown),),
        "agreement in a standard does not make two probes agree in tap water",
    )  # fmt: skip


def _shown(it: "Held", liquid: str, patience: "Patience") -> float:
    """What the probe shows in the liquid once it stands still."""
    from afterfill.cli.console import notice
    from afterfill.cli.probe.hold import until_steady

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
    it: "Held", kind: Literal["ph", "orp"], slope_share: float | None, offset: float
) -> None:
    from afterfill.cli.probe.lent import submitted_by_hand
    from afterfill.records import Calibration

    submitted_by_hand(it, Calibration(_now_s(), it.tank, kind, it.name, slope_share, offset))


def _now_s() -> float:
    from afterfill.cli.times import present_s

    return present_s()


def _say(it: "Held", kind: Literal["ph", "orp"], outcome: Outcome, as_json: bool) -> None:
    from afterfill.cli.console import say, say_json

    if as_json:
        say_json(
            {"kind": "calibration", "tank": it.tank, "probe": it.name, "quantity": kind,
             "from": "journal" if it.by_service else "port",
             "health": outcome.verdict.health, "why": outcome.verdict.reason,
             "slope_share": outcome.slope_share, "offset": outcome.offset,
             "offset_before": it.offset,
             "points": [{"true": t, "shown": s} for t, s in outcome.points]}
        )  # fmt: skip
        return
    say(f"{it.name}: {outcome.verdict.health} ({outcome.verdict.reason})")
    say(f"In its [[probe]] table write  offset = {outcome.offset:g}  (now {it.offset:g}):")
    say(f"  {outcome.remark}.")
    say("No reading changes before you do. The journal keeps that it was calibrated today.")
    if kind == "orp":
        say("What was learnt of this probe is forgotten; it settles for 3 hours.")
