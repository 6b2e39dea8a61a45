import math
from typing import Any

import pytest

from afterfill.errors import JournalError, PayloadError
from afterfill.journal.codec import body_of, check_finite, compact, record_of
from afterfill.records import Dose, Estimate, Health, KitResult, Quantiles, Reading, Record, Tick

T0_S = 1_772_350_200.25
T0_MS = 1_772_350_200_250
SOME = Quantiles(0.0, 0.5, 1.0)
CASES: list[tuple[str, Record, dict[str, Any]]] = [
    ("reading", Reading(T0_S, "t", "orp", 312.5), {"quantity": "orp", "value": 312.5}),
    ("reading", Reading(T0_S, "t", "ph", None, "p", "no-answer", "3f"),
     {"quantity": "ph", "value": None, "probe": "p", "invalid": "no-answer", "raw": "3f"}),
    ("tick", Tick(T0_S, "t"), {}),
    ("health", Health(T0_S, "t", "sink", True, None, 0),
     {"component": "sink", "up": True, "age_s": None, "errors": 0}),
    ("dose", Dose(T0_S, "t", 2.0), {"neutraliser_ml": 2.0}),
    ("dose", Dose(T0_S, "t", 2.0, logged_s=T0_S + 60),
     {"neutraliser_ml": 2.0, "logged": "2026-03-01T07:31:00.250Z"}),
    ("kit", KitResult(T0_S, "t", ph=7.5), {"ph": 7.5}),
]  # fmt: skip


def estimate(p_over_limit: float, residual: Quantiles = SOME) -> Estimate:
    return Estimate(T0_S, "t", residual, SOME, SOME, SOME, None, p_over_limit, None, True, None)


@pytest.mark.parametrize(("kind", "record", "body"), CASES, ids=lambda case: str(case)[:40])
def test_a_body_holds_what_has_no_place_of_its_own(
    kind: str, record: Record, body: dict[str, Any]
) -> None:
    assert body_of(record) == body
    assert record_of(kind, "t", T0_MS, body) == record


@pytest.mark.parametrize(
    "record",
    [
        Reading(T0_S, "t", "orp", math.nan),
        Reading(T0_S, "t", "orp", -math.inf),
        estimate(math.inf),
        estimate(0.0, Quantiles(0.0, math.nan, 1.0)),
        Dose(T0_S, "t", math.inf),
    ],
)
def test_what_is_not_finite_is_refused(record: Record) -> None:
    with pytest.raises(JournalError, match="NaN or infinity cannot be kept"):
        check_finite(record)


@pytest.mark.parametrize("record", [case[1] for case in CASES] + [estimate(0.0)])
def test_what_is_finite_passes(record: Record) -> None:
    check_finite(record)


def test_json_is_compact_and_text_is_as_it_is() -> None:
    assert compact({"a": [1, 2.5, None], "ö": "Ü"}) == '{"a":[1,2.5,null],"ö":"Ü"}'


@pytest.mark.parametrize(
    ("kind", "body"),
    [
        ("reading", {"quantity": "orp", "value": 1.0, "later": 1}),
        ("reading", {"value": 1.0}),
        ("later", {}),
        ("dose", {"neutraliser_ml": 1.0, "logged": "at noon"}),
        ("dose", {"neutraliser_ml": 1.0, "later": 2}),
        ("estimate", {"residual_mg_l": {"q05": 0.0}}),
        ("estimate", {"evidence": 5}),
    ],
)
def test_a_body_of_another_version_is_told_apart(kind: str, body: dict[str, Any]) -> None:
    with pytest.raises(PayloadError):
        record_of(kind, "t", T0_MS, body)
