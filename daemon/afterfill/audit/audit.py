"""The audit of one tank: what its tests say of its figures."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from afterfill.audit.answers import FIGURES, Figure, answers, over_limit, shown_from
from afterfill.audit.evidence import REJECTED, Fault, stake_on_more_often, stakes
from afterfill.audit.next_test import NextTest, next_test
from afterfill.audit.predictive import SCALES, standings
from afterfill.audit.reliability import Bin, bins
from afterfill.records import Estimate, ForecastCheck

TESTS_NEEDED = 10
_INSIDE = (0.05, 0.95)
P_OVER = "probability over the limit"
"""The name of that figure, beside those of FIGURES."""


@dataclass(frozen=True, slots=True)
class FigureAudit:
    """Of a figure said `lead_h` [h] ahead: how many tests answered it, how many of these lay within
    its 5 to 95 % range as far as the kit can tell (None where it has none), and the evidence that
    it has a fault."""

    name: str
    lead_h: float
    tests: int
    inside: int | None
    e: dict[Fault, float]

    @property
    def worst(self) -> Fault:
        """The fault that there is most evidence for."""
        return max(self.e, key=lambda fault: self.e[fault])

    @property
    def mean_e(self) -> float:
        """The evidence against it, whatever the fault."""
        return sum(self.e.values()) / len(self.e)


@dataclass(frozen=True, slots=True)
class Audit:
    """`figures` of the test's own moment and `ahead`; `tests`: how many tests counted; `e`: the
    evidence against the former together; `shown_from_mg_l`: from which value on a chlorine test
    surely shows more than the limit (None: none was made)."""

    tank: str
    tests: int
    e: float
    figures: tuple[FigureAudit, ...]
    ahead: tuple[FigureAudit, ...]
    bins: tuple[Bin, ...]
    shown_from_mg_l: float | None
    next: NextTest | None

    @property
    def word(self) -> str:
        """`too-low`, `too-high`, `too-sure`; `not-enough` tests yet; or `nothing-against`."""
        if self.e >= REJECTED:
            return self._worst.worst
        return "not-enough" if self.tests < TESTS_NEEDED else "nothing-against"

    @property
    def _worst(self) -> FigureAudit:
        return max(self.figures, key=lambda figure: figure.e[figure.worst])

    def sentence(self) -> str:
        """Whether the figures have earned trust."""
        e = f"e = {e_words(self.e)}"
        if self.word == "not-enough":
            return f"not enough tests yet ({self.tests} of {TESTS_NEEDED})"
        if self.word == "nothing-against":
            return f"nothing speaks against the figures ({self.tests} tests, {e})"
        fault = self.word.replace("-", " ")
        return f"the figures are {fault}, above all {self._worst.name} ({self.tests} tests, {e})"

    def wire(self) -> dict[str, Any]:
        """As JSON."""
        return {
            "kind": "audit",
            "tank": self.tank,
            "word": self.word,
            "sentence": self.sentence(),
            "tests": self.tests,
            "tests_needed": TESTS_NEEDED,
            "e": _short(self.e),
            "figures": [_wire(figure) for figure in (*self.figures, *self.ahead)],
            "reliability": [_bin_wire(each) for each in self.bins],
            "shown_from_mg_l": self.shown_from_mg_l,
            "next_test": None if self.next is None else self.next.wire(),
        }


def _wire(audited: FigureAudit) -> dict[str, Any]:
    return {
        "figure": audited.name,
        "lead_h": audited.lead_h,
        "tests": audited.tests,
        "inside": audited.inside,
        "e": {fault: _short(e) for fault, e in audited.e.items()},
    }


def _bin_wire(each: Bin) -> dict[str, Any]:
    return {
        "said": _short(each.said),
        "came_true": each.came_true,
        "tests": each.n,
        "low": _short(each.low),
        "high": _short(each.high),
        "tells": each.tells,
    }


def _short(value: float) -> float:
    return float(f"{value:.4g}")


def e_words(e: float) -> str:
    """Evidence as people read it."""
    if e > 1000.0:
        return "more than 1000"
    return f"{e:.2g}" if e < 100.0 else f"{e:.0f}"


def audited(tank: str, records: Sequence[ForecastCheck], now: Estimate | None) -> Audit:
    """The audit of a tank by its `records`, in the order in which they became known. `now`: its
    newest estimate, None where there is none."""
    said = over_limit(records)
    of_limit = FigureAudit(
        P_OVER,
        0.0,
        len(said),
        None,
        {"too-low": stake_on_more_often([(it.allowed, it.shown) for it in said])},
    )
    figures = (*(_figure_audit(records, figure, 0.0) for figure in FIGURES), of_limit)
    leads = sorted({record.lead_h for record in records} - {0.0})
    ahead = [_figure_audit(records, figure, lead) for lead in leads for figure in FIGURES]
    return Audit(
        tank,
        _tests(records),
        sum(figure.mean_e for figure in figures) / len(figures),
        figures,
        tuple(figure for figure in ahead if figure.tests),
        bins([(it.said, it.shown) for it in said]),
        _short(shown_from(records[-1].limit_mg_l)[0]) if said else None,
        None if now is None else next_test(now),
    )


def _tests(records: Sequence[ForecastCheck]) -> int:
    """How many tests answered some figure of their moment."""
    return len({answer.kit_s for figure in FIGURES for answer in answers(records, figure, 0.0)})


def _figure_audit(records: Sequence[ForecastCheck], figure: Figure, lead_h: float) -> FigureAudit:
    found = answers(records, figure, lead_h)
    spans = [standings(answer.said, answer.shown_mg_l, figure.kit) for answer in found]
    at_full = [each[SCALES.index(1.0)] for each in spans]
    inside = sum(span.up_to >= _INSIDE[0] and span.below <= _INSIDE[1] for span in at_full)
    return FigureAudit(figure.name, lead_h, len(found), inside, stakes(spans))
