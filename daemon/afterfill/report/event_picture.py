"""A picture of one stretch of a tank's life, from the journal: ORP, posterior, limits, verdicts."""

from collections.abc import Callable, Sequence
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from typing import Any

from afterfill.chemistry.units import fahrenheit
from afterfill.errors import UsageError
from afterfill.journal.store import Journal
from afterfill.records import Estimate, Quantity, Reading, Refill, Verdict
from afterfill.report.gathered import blind_spans

_BAND, _LINE, _LIMIT, _ORP = "#9ecae1", "#08519c", "#b30000", "#333333"  # told apart in grey too
_BLIND = "#bbbbbb"
_FLOOR_MG_L = 1e-3  # lower end of the logarithmic scale
_HEIGHTS_MG_L = (2.8, 1.6, 0.9)  # verdicts that follow each other closely stay legible
_MARKER = {"clear": "o", "possible": "s", "carried-over": "X", "cannot-tell": "D"}


def draw_event(
    journal: Journal,
    tank: str,
    from_s: float,
    to_s: float,
    limit_mg_l: float,
    file: Path,
    *,
    zone: tzinfo | None = UTC,
    in_fahrenheit: bool = False,
) -> None:
    """Write a PNG of [from_s, to_s) to `file`, its times shown in `zone`.

    Raises UsageError without the plots extra.
    """
    figure, (orp, water, air) = _figure()
    records = [entry.record for entry in journal.between(tank, from_s, to_s)]
    _draw_readings(orp, records, "orp", "ORP [mV]")
    estimates = [r for r in records if isinstance(r, Estimate)]
    _draw_blindness((orp, water), estimates)
    _draw_residual(water, estimates, limit_mg_l)
    _draw_verdicts(water, [r for r in records if isinstance(r, Verdict)])
    warmth = fahrenheit if in_fahrenheit else float
    _draw_readings(
        air, records, "temperature", f"temperature [°{'F' if in_fahrenheit else 'C'}]", warmth
    )
    for refill in (r for r in records if isinstance(r, Refill)):
        for axis in (orp, water, air):
            axis.axvline(_moment(refill.time_s), color=_ORP, linestyle=":", linewidth=1)
        orp.annotate(
            "refill", (_moment(refill.time_s), 0.0), xycoords=("data", "axes fraction"),
            xytext=(4, 6), textcoords="offset points",
        )  # fmt: skip
    orp.set_title(f"Tank '{tank}': what the probes saw and what it means")
    _show_times(air, zone, to_s)
    figure.savefig(file, dpi=110, bbox_inches="tight")


def _figure() -> tuple[Any, Any]:
    try:
        import matplotlib
    except ImportError as error:
        raise UsageError(
            "a picture needs matplotlib: install it with `pip install 'afterfill[plots]'`"
        ) from error
    matplotlib.use("Agg")
    from matplotlib.figure import Figure

    figure = Figure(figsize=(10, 8), layout="constrained")
    return figure, figure.subplots(3, 1, sharex=True, height_ratios=(3, 3, 2))


def _show_times(axis: Any, zone: tzinfo | None, to_s: float) -> None:  # noqa: ANN401 - the drawing library is loaded late
    from matplotlib import dates

    library: Any = dates  # typed in part only
    locator = library.AutoDateLocator(tz=zone)
    axis.xaxis.set_major_locator(locator)
    axis.xaxis.set_major_formatter(library.ConciseDateFormatter(locator, tz=zone))
    axis.set_xlabel(f"time ({datetime.fromtimestamp(to_s, zone):%Z})")


def _draw_readings(
    axis: Any,  # noqa: ANN401 - the library's own
    records: Sequence[object],
    quantity: Quantity,
    label: str,
    as_shown: Callable[[float], float] = float,
) -> None:
    shown = [r for r in records if isinstance(r, Reading) and r.quantity == quantity]
    known = [(_moment(r.time_s), as_shown(r.value)) for r in shown if r.value is not None]
    axis.plot([t for t, _ in known], [v for _, v in known], color=_ORP, linewidth=1)
    axis.set_ylabel(label)
    axis.grid(alpha=0.3)


def _draw_residual(axis: Any, estimates: Sequence[Estimate], limit_mg_l: float) -> None:  # noqa: ANN401 - the drawing library is loaded late
    times = [_moment(e.time_s) for e in estimates]
    low = [max(e.residual_mg_l.q05, _FLOOR_MG_L) for e in estimates]
    middle = [max(e.residual_mg_l.q50, _FLOOR_MG_L) for e in estimates]
    high = [max(e.residual_mg_l.q95, _FLOOR_MG_L) for e in estimates]
    axis.fill_between(times, low, high, color=_BAND, label="residual, 90 % interval")
    axis.plot(times, middle, color=_LINE, linewidth=1.5, label="residual, median")
    axis.axhline(limit_mg_l, color=_LIMIT, linestyle="--", label=f"limit {limit_mg_l:g} mg/L")
    axis.set_yscale("log")
    axis.set_ylim(_FLOOR_MG_L, 5.0)
    axis.set_ylabel("oxidant [mg/L as Cl$_2$]")
    axis.grid(alpha=0.3)
    # above the axes: the newest verdicts stand on the right, the first ones on the left
    axis.legend(loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=4, fontsize=8, frameon=False)


def _draw_blindness(axes: Sequence[Any], estimates: Sequence[Estimate]) -> None:
    """Where the ORP could not be used; named once."""
    for number, span in enumerate(blind_spans(estimates)):
        for place, axis in enumerate(axes):
            first = number == 0 and place == len(axes) - 1
            axis.axvspan(
                _moment(span.from_s), _moment(max(span.to_s, span.from_s + 60.0)), color=_BLIND,
                hatch="//", alpha=0.5, linewidth=0, label="could not see" if first else None,
            )  # fmt: skip


def _draw_verdicts(axis: Any, verdicts: Sequence[Verdict]) -> None:  # noqa: ANN401 - the drawing library is loaded late
    for number, verdict in enumerate(verdicts):
        moment, height = _moment(verdict.time_s), _HEIGHTS_MG_L[number % len(_HEIGHTS_MG_L)]
        axis.plot([moment], [height], marker=_MARKER[verdict.verdict], color=_ORP)
        word = verdict.verdict + (" (final)" if verdict.final else "")
        axis.annotate(
            word, (moment, height), xytext=(6, -3), textcoords="offset points", fontsize=8
        )


def _moment(time_s: float) -> datetime:
    return datetime.fromtimestamp(time_s, UTC)
