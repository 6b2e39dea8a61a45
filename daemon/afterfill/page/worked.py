"""Plans, reports and months, worked out in a process of their own: what they load goes again.

Run as ``python -m afterfill.page.worked CONFIG``; the question is JSON on standard input, the
answer on standard output: HTML as JSON, what comes first and what stands behind it. A mistake is
one sentence on standard error, and its exit code.
"""

import json
import sys
from datetime import datetime
from pathlib import Path
from typing import Any

from afterfill.chemistry.kit_units import chlorine_from
from afterfill.cli.configured import reading_journal
from afterfill.cli.console import Line, Table
from afterfill.cli.plan.answer import plan_of
from afterfill.cli.plan.refill import PlannedRefill
from afterfill.cli.plan.said import Said
from afterfill.cli.times import period_from, present_s, time_from
from afterfill.config import Config
from afterfill.config_file import load
from afterfill.errors import AfterfillError
from afterfill.page.layout import html_of
from afterfill.page.months import months_html
from afterfill.report.gathered import gathered
from afterfill.report.markup import Html, joined, table, tag
from afterfill.report.page import page
from afterfill.report.span import Span, span_of_refill
from afterfill.tank_table import tank_table

_MOST_S = 12 * 3600.0


def main() -> None:
    """One question, one answer."""
    path = Path(sys.argv[1])
    question: dict[str, Any] = json.load(sys.stdin)
    try:
        settings = load(path)
        kind, tank = question.pop("kind"), question.pop("tank")
        if kind == "report":
            answer = [_report(settings, tank, question)]
        elif kind == "months":
            answer = [_months(settings, tank)]
        else:
            answer = _plan(settings, path, tank, question)
        json.dump(answer, sys.stdout)
    except AfterfillError as error:
        sys.stderr.write(str(error))
        raise SystemExit(error.exit_code) from error


def _plan(settings: Config, path: Path, tank: str, said: dict[str, Any]) -> list[str]:
    if "residual_mg_l" in said:
        said["residual_mg_l"] = chlorine_from(said["residual_mg_l"])
    plan = plan_of(Said(**said), settings, path, tank)
    words = list(plan.words())
    until = next(n for n, word in enumerate(words) if isinstance(word, Table)) - 1
    keeps = isinstance(plan, PlannedRefill) and plan.plan.judgement == "within-limits"
    look = "safe" if keeps else "unsure" if plan.is_safe else "not-safe"
    head = tag("p", str(words[0]), class_=f"planned {look}")
    return [joined(head, html_of_all(tank, words[1:until])), html_of_all(tank, words[until:])]


def html_of_all(tank: str, words: list[Any]) -> Html:
    """Lines and tables in their order; a table is folded under the line before it."""
    parts: list[Html] = []
    lines: list[str] = []
    for word in words:
        if isinstance(word, Table):
            heading = tag("summary", lines.pop() if lines else "Figures")
            rows = [tuple(row) for row in word.rows]
            parts.append(html_of(tank, lines))
            parts.append(tag("details", heading, table(tuple(word.headers), rows)))
            lines = []
        else:
            lines.append(word.text if isinstance(word, Line) else word)
    return joined(*parts, html_of(tank, lines))


def _report(settings: Config, tank: str, asked: dict[str, Any]) -> str:
    now_s = present_s()
    with reading_journal(settings.journal.path) as journal:
        if asked.get("from"):
            from_s, to_s = period_from(asked["from"], asked.get("to"), now_s, (0.0, now_s))
            span = Span(from_s, min(to_s, from_s + _MOST_S))
        else:
            near_s = time_from(asked["refill"], now_s) if asked.get("refill") else None
            span = span_of_refill(journal, tank, near_s, now_s)
        found = gathered(journal, tank, span.from_s, span.to_s)
    zone = datetime.now().astimezone().tzinfo
    it = tank_table(settings, tank)
    return page(found, it, zone=zone, refill_s=span.refill_s, made_s=now_s)


def _months(settings: Config, tank: str) -> str:
    with reading_journal(settings.journal.path) as journal:
        return months_html(journal, tank, tank_table(settings, tank), present_s())


if __name__ == "__main__":
    main()
