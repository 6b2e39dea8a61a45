"""What a published message says, byte for byte."""

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from afterfill.ports import ProbeSpec, Sample
from afterfill.records import InvalidReason, Quantity
from afterfill_drivers.mqtt.payloads import LONGEST, RAW, judge
from afterfill_drivers.mqtt.settings import MqttSettings


def judged(payload: bytes | str, quantity: Quantity = "ph", **keys: Any) -> Sample:
    settings = MqttSettings(topic="x", **keys)
    raw = payload.encode() if isinstance(payload, str) else payload
    return judge(raw, ProbeSpec("p", quantity, settings), settings)


NESTED = '{"value": {"ph": 7.21, "a.b": [{"v": "6.9"}]}, "ph": null, "on": true, "9": 7}'


@pytest.mark.parametrize(
    ("payload", "path", "value"),
    [
        ("7.21", None, 7.21),
        (" 7.21\r\n", None, 7.21),
        ("+7", None, 7.0),
        ("72.1e-1", None, 7.21),
        (NESTED, "value.ph", 7.21),
        (NESTED, ("value", "a.b", 0, "v"), 6.9),
        (NESTED, "9", 7.0),
        ("[[1], [2, 8.1]]", "1.1", 8.1),
        ('"7.21"', ("0",), None),  # a text is no list
        ("7", "ph", None),
    ],
)
def test_a_number_is_found_where_the_path_leads(
    payload: str, path: str | tuple[str | int, ...] | None, value: float | None
) -> None:
    assert judged(payload, path=path).value == value


@pytest.mark.parametrize(
    ("payload", "path", "reason"),
    [
        ("", None, "garbled"),
        ("unavailable", None, "garbled"),
        ("nan", None, "garbled"),
        ("NaN", None, "garbled"),
        ("inf", None, "garbled"),
        ("0x10", None, "garbled"),
        ("7,21", None, "garbled"),
        ("7.21 pH", None, "garbled"),
        ("\u0667", None, "garbled"),  # a digit of another script
        ('{"ph": 7.21}', None, "garbled"),
        (NESTED, "value.missing", "garbled"),
        (NESTED, "value", "garbled"),
        (NESTED, "on", "garbled"),
        (NESTED, "ph", "error-reply"),
        ('{"ph": NaN}', "ph", "garbled"),
        ('{"ph": Infinity}', "ph", "garbled"),
        ('{"ph": 1e999}', "ph", "garbled"),
        ('{"ph": "7.2 or so"}', "ph", "garbled"),
        ('{"ph": 7.2', "ph", "garbled"),
        ('{"ph": ' + "9" * 5000 + "}", "ph", "garbled"),
        ("[" * 8000, "0", "garbled"),
        ('{"ph": 15}', "ph", "out-of-range"),
        ("-1", None, "out-of-range"),
        (b"\xff\xfe7.2", None, "garbled"),
        (b"7" + b" " * LONGEST, None, "garbled"),
    ],
)
def test_anything_else_is_told_with_its_reason(
    payload: str | bytes, path: str | None, reason: InvalidReason
) -> None:
    sample = judged(payload, path=path)
    assert (sample.value, sample.invalid) == (None, reason)
    assert len(sample.raw) <= RAW


@given(st.binary(max_size=300), st.sampled_from([None, "a", "a.0", "0"]))
def test_no_message_is_too_strange(payload: bytes, path: str | None) -> None:
    sample = judged(payload, path=path)
    assert (sample.value is None) != (sample.invalid is None)


@given(st.recursive(st.none() | st.floats() | st.text() | st.booleans(),
                    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner)))  # fmt: skip
def test_no_document_is_too_strange(document: object) -> None:
    sample = judged(json.dumps({"a": document}), path="a")
    assert (sample.value is None) != (sample.invalid is None)


# Exact by definition: 0 C is 32 F, 100 C is 212 F; 1 V is 1000 mV.
@pytest.mark.parametrize(
    ("quantity", "unit", "said", "value"),
    [
        ("temperature", "F", "32", 0.0),
        ("temperature", "F", "77", 25.0),
        ("temperature", "C", "25", 25.0),
        ("temperature", None, "25", 25.0),
        ("orp", "V", "0.4123", 412.3),
        ("orp", "mV", "412.3", 412.3),
        ("orp", "V", "-0.05", -50.0),
    ],
)
def test_units_become_ours(quantity: Quantity, unit: str | None, said: str, value: float) -> None:
    assert judged(said, quantity, unit=unit).value == pytest.approx(value, abs=1e-9)


def test_what_is_too_much_in_its_own_unit_is_out_of_range() -> None:
    assert judged("412.3", "orp", unit="V").invalid == "out-of-range"
    assert judged("212", "temperature", unit="F").invalid == "out-of-range"


@pytest.mark.parametrize(
    "keys",
    [
        {"topic": "a/#"},
        {"topic": "a/+/b"},
        {"topic": ""},
        {"topic": "a", "path": "a..b"},
        {"topic": "a", "path": ""},
        {"topic": "a", "path": []},
        {"topic": "a", "unit": "K"},
        {"topic": "a", "max_age_s": 0},
        {"topic": "a", "counter": "."},
    ],
)
def test_settings_of_no_use_are_refused(keys: dict[str, Any]) -> None:
    with pytest.raises(ValidationError):
        MqttSettings.model_validate(keys)
