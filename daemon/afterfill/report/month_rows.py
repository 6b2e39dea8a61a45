"""Months side by side, as the rows of two tables."""

from dataclasses import dataclass
from datetime import datetime, tzinfo

from afterfill.chemistry.doses import DoseUnit, dose_words
from afterfill.figures import figure, interval
from afterfill.planning.shown import Shown
from afterfill.records import ResponseCheck, VerdictWord
from afterfill.report.trends import Month

VERDICT_WORDS: tuple[VerdictWord, ...] = ("clear", "possible", "carried-over", "cannot-tell")
POURED = ("month", "refills", "water", "neutraliser", *VERDICT_WORDS, "highest residual, mg/L")
PROBES = ("month", "could see", "detection floor, mg/L", "mV per pH", "calibrated",
           "tap, mg/L", "neutraliser left", "high alarms")  # fmt: skip
_UNKNOWN = "-"


@dataclass(frozen=True, slots=True)
class MonthRows:
    """How the figures are written."""

    zone: tzinfo | None
    units: Shown
    dose: DoseUnit

    def month(self, it: Month) -> str:
        """``2026-03``."""
        return f"{datetime.fromtimestamp(it.from_s, self.zone):%Y-%m}"

    def poured(self, it: Month) -> tuple[str, ...]:
        """Under the headers POURED."""
        highest = it.highest
        return (
            self.month(it),
            str(len(it.refills) or _UNKNOWN),
            self.units.volume(it.litres) if it.litres else _UNKNOWN,
            dose_words(round(it.neutraliser, 1), self.dose) if it.neutraliser else _UNKNOWN,
            *(str(it.count(word) or _UNKNOWN) for word in VERDICT_WORDS),
            _UNKNOWN if highest is None else interval(highest.peak_residual_mg_l),
        )

    def probes(self, it: Month) -> tuple[str, ...]:
        """Under the headers PROBES."""
        return (
            self.month(it),
            _UNKNOWN if it.saw is None else f"{100.0 * it.saw:.0f} %",
            _UNKNOWN if it.floor_mg_l is None else figure(it.floor_mg_l),
            _UNKNOWN if it.ph_slope_mv is None else f"{it.ph_slope_mv:.0f}",
            _works(it),
            _UNKNOWN if it.tap_mg_l is None else interval(it.tap_mg_l),
            _UNKNOWN if it.left is None else dose_words(round(it.left, 1), self.dose),
            str(it.high_alarms or _UNKNOWN),
        )


def _works(it: Month) -> str:
    """What the last calibration of each probe, and the last test of its response, found."""
    said: dict[str, str] = {}
    for work in it.works:
        if isinstance(work, ResponseCheck):
            said["response"] = f"response {work.step_mv:.0f} mV"
        else:
            figures = {"slope": work.slope, "offset": work.offset}
            found = [f"{name} {value:.3g}" for name, value in figures.items() if value is not None]
            said[work.quantity] = " ".join([work.quantity, *found])
    return "; ".join(said.values()) or _UNKNOWN
