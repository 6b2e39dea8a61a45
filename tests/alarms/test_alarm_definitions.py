import re
from pathlib import Path

import pytest

from afterfill.alarms.definition import Definition, Steps
from afterfill.alarms.definitions import DEFINITIONS
from afterfill.alarms.messages import Facts
from afterfill.alarms.priority import MATRIX
from afterfill.records import Estimate, Quantiles

HARDER = ["days", "hours", "minutes"]
RANK = {"low": 0, "medium": 1, "high": 2}
README = Path(__file__).resolve().parents[2] / "daemon" / "README.md"


@pytest.mark.parametrize("it", DEFINITIONS.values(), ids=lambda it: it.name)
def test_each_alarm_has_every_part_of_its_rationalisation(it: Definition) -> None:
    texts = (it.cause, it.consequence, it.time_to_respond, it.action, it.why_delays)
    assert all(len(text) > 3 for text in texts)
    assert it.priority == MATRIX[it.severity][it.urgency]
    assert it.severity in it.why_priority
    assert it.on_delay_s >= 0.0
    assert it.off_delay_s >= 0.0
    assert (it.sentence is None) == (it.group == "machine")
    assert it.title not in (it.name, it.name.replace("-", " ")), "it has plain words of its own"


def test_priority_never_falls_as_the_consequence_grows_or_time_shrinks() -> None:
    ranks = [[RANK[MATRIX[s][u]] for u in ("days", "hours", "minutes")] for s in
             ("minor", "moderate", "severe")]  # fmt: skip
    assert all(row == sorted(row) for row in ranks)
    assert all(list(column) == sorted(column) for column in zip(*ranks, strict=True))


def test_work_that_is_announced_suppresses_for_hours_at_most() -> None:
    spans = [s for it in DEFINITIONS.values() for s in it.suppressed_s.values()]
    assert spans
    assert all("probe" in it.suppressed_s for it in DEFINITIONS.values() if it.judged_by)
    assert all(0.0 < span_s <= 3 * 3600.0 for span_s in spans)
    assert not DEFINITIONS["residual-oxidant"].suppressed_s  # a test kit may raise it any time


def test_the_readme_names_every_alarm_with_its_priority() -> None:
    rows = re.findall(r"^\| `([a-z-]+)` \| (high|medium|low) \|", README.read_text(), re.MULTILINE)
    assert dict(rows) == {it.name: it.priority for it in DEFINITIONS.values()}


def test_the_steps_are_told_as_one_text() -> None:
    assert Steps("do a").sentence() == "do a."
    whole = Steps("do a", ("do b", "do c"), ("do d", "do e"), vet=True)
    assert whole.sentence() == (
        "do a; do b; do c. Do not do d, and do not do e. Ask a vet about fish that suffer."
    )


@pytest.mark.parametrize("it", DEFINITIONS.values(), ids=lambda it: it.name)
def test_steps_are_clauses_and_say_at_least_what_comes_first(it: Definition) -> None:
    clauses = (it.steps.first, *it.steps.then, *it.steps.do_not)
    assert all((clause and clause[0].islower()) or clause[0] == "`" for clause in clauses)
    assert not any(clause.endswith((".", ";")) for clause in clauses)
    assert not any(clause.startswith("do not") for clause in clauses)


def test_what_the_machine_says_is_told_as_it_is() -> None:
    none = Quantiles(0.0, 0.0, 0.0)
    now = Estimate(5.0, "t", none, none, none, none, None, 0.0, 0.1, True, None)
    low = DEFINITIONS["storage-low"]
    facts = Facts(now, 0.019, 0.02, (6.5, 8.5), (22.0, 28.0), machine={"storage-low": "12 MB left"})
    assert low.message(facts) == "12 MB left"
    assert "not said anything" in DEFINITIONS["power-low"].message(facts)
