"""Whatever comes as a command: one sentence or a record, never an exception."""

import json
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from afterfill.alarms.definitions import DEFINITIONS
from afterfill.config import Config
from afterfill.journal.store import Journal
from afterfill.sinks.mqtt.commands import Command, deserves_answer, obey
from afterfill.sinks.mqtt.messages import answer_message
from sample_records import now

WINDOW = Config.model_validate({"tank": {"window": {"litres": 200}}})
KEYS = ["litres", "neutraliser_ml", "minutes", "ph", "what", "source", "mode", "slope", "reason"]
KEYS += ["of", "remove", "time", "sure", "text"]
WORDS = ["log", "refill", "kit", "dose", "service", "calibration", "alarm", "ph", "shelve", "", "+"]
WORDS += ["correction", "note"]
VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(st.characters(exclude_categories=()))
    | st.sampled_from(["25 L", "1e999 gal", "add", "probe", 10**400, -(10**30)]),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
    max_leaves=10,
)
OBJECTS = st.dictionaries(st.sampled_from(KEYS) | st.text(), VALUES).map(
    lambda value: json.dumps(value).encode()
)
PAYLOADS = OBJECTS | st.binary() | st.integers(1, 2000).map(lambda n: b'{"a":' * n)
TOPICS = st.lists(st.sampled_from(WORDS) | st.text(max_size=5), max_size=5).map(
    lambda parts: "/".join(["window", *parts])
)


@pytest.fixture(scope="module")
def inbox(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("fuzz") / "j.db"


@settings(
    max_examples=400, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(topic=TOPICS, payload=PAYLOADS, retained=st.booleans(), repeated=st.booleans())
@example("window/log/refill", b'{"source": "\\ud800"}', False, False)
@example("window/log/refill", b'{"\\ud800": 1}', False, False)
@example("window/log/refill", b'{"litres": ' + b"9" * 4000 + b"}", False, False)
@example("window/log/refill", b'{"litres": "' + b"9" * 400 + b' L"}', False, False)
@example("window/log/dose", b'{"neutraliser_ml": NaN}', False, False)
@example("window/log/note", b'{"text": "\\ud800"}', False, False)
@example("window/log/correction", b'{"of": 1, "time": "\\ud800"}', False, False)
@example("window/log/correction", b'{"of": 99999999999999999999999, "remove": true}', False, False)
@example("window/alarm/ph/out-of-service", b'{"reason": "\\udfff\\udfff\\udfff"}', False, False)
def test_any_bytes_on_any_topic_end_in_one_answer_that_can_be_sent(
    inbox: Path, topic: str, payload: bytes, retained: bool, repeated: bool
) -> None:
    with Journal.open(inbox) as journal:
        before = len(journal.inbox(limit=10_000))
        tank, answer = obey(
            Command(topic, payload, retained, repeated),
            config=WINDOW,
            alarms=DEFINITIONS,
            journal=journal,
            stamp=now(),
        )
        taken = len(journal.inbox(limit=10_000)) - before
    message = answer_message("afterfill", tank, answer)
    message.payload.encode()
    assert (
        json.loads(message.payload).keys() == {"ok", "command", "number"}
        if answer["ok"]
        else (answer.keys() == {"ok", "command", "error"})
    )
    assert taken == int(bool(answer["ok"]))
    if retained or repeated:
        assert not answer["ok"]
    if not answer["ok"]:
        assert 0 < len(str(answer["error"])) <= 300


def test_a_topic_too_long_to_be_a_slip_is_passed_over_in_silence() -> None:
    assert deserves_answer("window/alarm/residual-oxidant/acknowledge")
    assert not deserves_answer("w" * 60_000 + "/log/dose")
