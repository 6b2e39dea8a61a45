"""Which tests answer which figures, and count: each as a test of its own."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import NamedTuple

import numpy as np

from afterfill.audit.kits import AMMONIA, CHLORINE, Kit
from afterfill.records import Estimate, ForecastCheck, Quantiles

APART_S = 3600.0  # two tests within it are one: the same water, the same reagent; our judgement
_SURELY = 3.0  # standard deviations of a kit; what it shows beyond them is there


class Figure(NamedTuple):
    """A figure that a kit answers: `said` of a record or an estimate, `shown` of the record."""

    name: str
    kit: Kit
    said: Callable[[ForecastCheck | Estimate], Quantiles | None]
    shown: Callable[[ForecastCheck], float | None]
    needs_sight: bool


FIGURES = (
    Figure("total chlorine", CHLORINE, lambda r: r.residual_mg_l,
           lambda r: r.kit_total_chlorine_mg_l, needs_sight=True),
    Figure("free chlorine", CHLORINE, lambda r: r.free_chlorine_mg_l,
           lambda r: r.kit_free_chlorine_mg_l, needs_sight=True),
    Figure("total ammonia", AMMONIA, lambda r: r.total_ammonia_mg_l,
           lambda r: r.kit_total_ammonia_mg_l, needs_sight=False),
)  # fmt: skip


class Answer(NamedTuple):
    """A figure as it was said, and what the kit then showed [mg/L]; `kit_s`: the test's time."""

    said: Quantiles
    shown_mg_l: float
    kit_s: float


def answers(records: Sequence[ForecastCheck], figure: Figure, lead_h: float) -> list[Answer]:
    """The answers that count to a figure said `lead_h` [h] ahead, `records` in the order in which
    they became known. While the ORP could not be used, nothing was said of chlorine."""
    kept = _apart(r for r in records if r.lead_h == lead_h and _answer(figure, r) is not None)
    return [answer for record in kept if (answer := _answer(figure, record)) is not None]


def _answer(figure: Figure, record: ForecastCheck) -> Answer | None:
    said, shown_mg_l = figure.said(record), figure.shown(record)
    if said is None or shown_mg_l is None or (figure.needs_sight and not record.sees):
        return None
    return Answer(said, shown_mg_l, record.kit_s)


def _apart(records: Iterable[ForecastCheck]) -> Iterator[ForecastCheck]:
    """Those that are said after the one before was answered, of another time's water: only so does
    each stand for itself, also with forecasts of a day. A test typed twice counts once."""
    last: ForecastCheck | None = None
    for record in records:
        if last is None or (
            record.said_s >= last.time_s and abs(record.kit_s - last.kit_s) >= APART_S
        ):
            last = record
            yield record


class OverLimit(NamedTuple):
    """The probability over the limit that was said; whether the kit surely showed it; and the
    highest probability of its doing so that the saying allows, since a kit errs."""

    said: float
    shown: bool
    allowed: float


def over_limit(records: Sequence[ForecastCheck]) -> list[OverLimit]:
    """What was said of the limit, and what chlorine tests showed. A residual a little above the
    limit is less than a kit shows, so what is not shown says nothing."""
    now = (r for r in records if r.lead_h == 0.0 and r.sees and _chlorine(r) is not None)
    return [_over(record) for record in _apart(now)]


def _chlorine(record: ForecastCheck) -> float | None:
    shown = [record.kit_total_chlorine_mg_l, record.kit_free_chlorine_mg_l]
    return max((value for value in shown if value is not None), default=None)


def _over(record: ForecastCheck) -> OverLimit:
    p, shown_mg_l = record.p_over_limit or 0.0, _chlorine(record) or 0.0
    sure_mg_l, wrongly = shown_from(record.limit_mg_l)
    return OverLimit(p, shown_mg_l > sure_mg_l, min(p + (1.0 - p) * wrongly, 1.0 - 1e-6))


def shown_from(limit_mg_l: float) -> tuple[float, float]:
    """From which value [mg/L as Cl2] a chlorine kit surely shows more than the limit, and how often
    it does so though there is not more."""
    at_limit = np.array([limit_mg_l])
    sure_mg_l = limit_mg_l + _SURELY * float(CHLORINE.deviation_mg_l(at_limit)[0])
    return sure_mg_l, 1.0 - float(CHLORINE.p_at_most(sure_mg_l, at_limit, 1.0)[0])
