"""Services of one house tell each other of their tap: at once, bounded, and never in a circle."""

import json
import math
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from afterfill.config import Config
from afterfill.errors import PayloadError
from afterfill.journal.store import Journal
from afterfill.records import SourceLearnt
from afterfill.sinks.mqtt.clear import Clearing
from afterfill.sinks.mqtt.sink import MqttSink
from afterfill.sinks.mqtt.sources import SharedSources, belief_message, heard, source_of
from mqtt_peers import Listener, config_for, of_tank, retained, service_of, sink_to
from sample_records import now, orp, running, store
from servers import Broker, wait_until

TAP = "afterfill/source/tap/belief"
NOW_S = 1_800_000_000.0


def config(port: int = 1883, **tap: Any) -> Config:
    found = config_for(port).model_dump(by_alias=True, exclude_none=True)
    found["source"]["tap"] |= {"residual_mg_l": 2.0, **tap}
    found["probe"] = []
    return Config.model_validate(found)


def learnt(mg_l: float = 3.0, at_s: float = NOW_S - 60.0, tank: str = "window") -> SourceLearnt:
    return SourceLearnt(at_s, tank, "tap", math.log(mg_l), 0.2, at_s, 1, 0.05)


def word(service: str = "cellar", **other: Any) -> bytes:
    """What another service tells."""
    message = belief_message(config(), "afterfill", learnt(), service)
    return json.dumps({**json.loads(message.payload), **other}).encode()


# --- what is believed of another's word ----------------------------------------------------------


def test_a_word_is_a_record_for_each_tank_that_names_who_told_it() -> None:
    (it,) = heard(config(), "tap", word(), "kitchen", NOW_S)
    assert (it.tank, it.source, it.told_by) == ("window", "tap", "cellar")
    assert (it.log_mean, it.log_sd) == pytest.approx((math.log(3.0), 0.2))
    assert it.learnt_s == NOW_S - 60.0
    assert it.time_s == NOW_S


def test_the_own_word_and_that_of_an_unknown_source_are_none() -> None:
    assert heard(config(), "tap", word("kitchen"), "kitchen", NOW_S) == []
    assert heard(config(), "pond", word(), "kitchen", NOW_S) == []


def test_a_word_of_long_ago_is_none_and_one_from_ahead_is_of_now() -> None:
    assert heard(config(), "tap", word(learnt="2020-01-01T00:00:00Z"), "kitchen", NOW_S) == []
    (it,) = heard(config(), "tap", word(learnt="2099-01-01T00:00:00Z"), "kitchen", NOW_S)
    assert it.learnt_s == NOW_S


@given(st.floats(-10, 5), st.floats(1e-6, 5))
def test_it_may_move_a_tap_by_four_times_and_never_make_it_sure(mean: float, sd: float) -> None:
    (it,) = heard(config(), "tap", word(log_mean=mean, log_sd=sd), "kitchen", NOW_S)
    assert 0.5 - 1e-9 <= math.exp(it.log_mean) <= 8.0 + 1e-9
    assert it.log_sd >= 0.1


def test_water_of_another_kind_is_not_believed_and_the_sentence_says_what_to_do() -> None:
    with pytest.raises(PayloadError, match="give two taps two names"):
        heard(
            config(disinfectant="chlorine"), "tap", word(disinfectant="chloramine"), "here", NOW_S
        )
    assert heard(config(), "tap", word(disinfectant="chloramine"), "here", NOW_S)


@pytest.mark.parametrize("payload", [
    b"", b"null", b"[]", b"{", b"\xff", b"{}", word(log_sd=-1), word(log_mean="NaN"),
    word(learnt="yesterday"), b" " * 2000, word(service=""),
])  # fmt: skip
def test_nonsense_has_a_sentence(payload: bytes) -> None:
    with pytest.raises(PayloadError):
        heard(config(), "tap", payload, "kitchen", NOW_S)


def test_which_topics_speak_of_sources() -> None:
    assert source_of("a/b", "a/b/source/tap/belief") == "tap"
    for other in ("a/b/tap/belief", "a/b/source/belief", "a/b/source/x/y/belief", "a/source/x"):
        assert source_of("a/b", other) is None


# --- who tells, and when -------------------------------------------------------------------------


@pytest.fixture
def shared(journal: Journal) -> SharedSources:
    """A session whose broker has had time to say what it keeps, ten seconds from now."""
    session = SharedSources(config(), "afterfill", "kitchen")
    session.begin(journal, 0.0)
    return session


def test_what_was_heard_is_never_told(shared: SharedSources, journal: Journal) -> None:
    (it,) = shared.heard("tap", word(), NOW_S)
    shared.note(it)
    assert shared.due(journal, 100.0) == []


def test_the_broker_may_know_better_and_is_asked_first(
    shared: SharedSources, journal: Journal
) -> None:
    shared.note(learnt(at_s=NOW_S - 3600.0))
    assert shared.due(journal, 1.0) == []
    assert shared.heard("tap", word(), NOW_S)  # of a minute ago, so newer
    assert shared.due(journal, 10.0) == []
    shared.note(learnt(2.5, at_s=NOW_S))
    assert [message.topic for message in shared.due(journal, 11.0)] == [TAP]
    assert shared.due(journal, 12.0) == []


def test_what_a_wrong_test_taught_is_taken_back_from_the_broker_and_from_others(
    shared: SharedSources, journal: Journal
) -> None:
    """What was known before it is older than it, and is told all the same, as of now."""
    shared.note(learnt(30.0, at_s=NOW_S - 60.0))
    (wrong,) = shared.due(journal, 10.0)
    before = replace(learnt(2.0, at_s=NOW_S - 9000.0), time_s=NOW_S)
    shared.note(replace(before, corrected=True))
    (told,) = shared.due(journal, 11.0)
    assert json.loads(told.payload)["learnt"] > json.loads(wrong.payload)["learnt"]
    other = SharedSources(config(), "afterfill", "cellar")
    other.begin(journal, 0.0)
    assert other.heard("tap", wrong.payload.encode(), NOW_S)
    (it,) = other.heard("tap", told.payload.encode(), NOW_S + 1)
    assert math.exp(it.log_mean) == pytest.approx(2.0)


def test_what_was_learnt_is_told_past_all_else_that_waits(
    shared: SharedSources, journal: Journal
) -> None:
    """At a start a thousand findings may wait for the broker before it in the journal."""
    store(journal, *(orp(n) for n in range(1000)), learnt(), *(orp(n) for n in range(1000, 1100)))
    (told,) = shared.due(journal, 10.0)
    assert told.topic == TAP
    assert shared.due(journal, 11.0) == []


def test_a_word_that_comes_again_is_no_news(shared: SharedSources, journal: Journal) -> None:
    assert shared.heard("tap", word(), NOW_S)
    assert shared.heard("tap", word(), NOW_S) == []


def test_a_kept_word_is_heard_once_whatever_its_clock_says(journal: Journal) -> None:
    """Dated ahead, it counts as of now; at the next connection it is the same word."""
    session = SharedSources(config(), "afterfill", "kitchen")
    session.begin(journal, 0.0)
    ahead = word(learnt="2099-01-01T00:00:00Z")
    store(journal, *session.heard("tap", ahead, NOW_S))
    session.begin(journal, 100.0)
    assert session.heard("tap", ahead, NOW_S + 100.0) == []


@given(st.floats(-10, 5))
def test_of_a_source_that_should_hold_nothing_no_more_is_believed_than_taps_hold(
    mean: float,
) -> None:
    (it,) = heard(config(residual_mg_l=0.0), "tap", word(log_mean=mean), "kitchen", NOW_S)
    assert math.exp(it.log_mean) <= 4.0 + 1e-9


def test_litres_that_passed_the_cartridge_are_news_although_nothing_was_tested(
    shared: SharedSources, journal: Journal
) -> None:
    shared.note(learnt())
    assert len(shared.due(journal, 10.0)) == 1
    shared.note(replace(learnt(), litres=25.0))
    (told,) = shared.due(journal, 11.0)
    assert json.loads(told.payload)["litres"] == 25.0
    assert shared.heard("tap", word(litres=60.0), NOW_S)[0].litres == 60.0
    assert shared.due(journal, 12.0) == []


def test_a_source_that_is_not_configured_any_more_is_not_told_of(
    shared: SharedSources, journal: Journal
) -> None:
    shared.note(replace(learnt(), source="spring"))
    assert shared.due(journal, 100.0) == []


# --- with a real broker --------------------------------------------------------------------------


@pytest.fixture
def second(tmp_path: Path) -> Iterator[Journal]:
    with Journal.open(tmp_path / "second.db") as opened:
        yield opened


def left(journal: Journal) -> list[SourceLearnt]:
    """Words that wait in the inbox for the core."""
    return [record for _, record, _ in journal.inbox() if isinstance(record, SourceLearnt)]


@pytest.mark.system
@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_what_one_service_learns_the_other_hears_within_seconds(
    journal: Journal, second: Journal, broker: Broker, version: str
) -> None:
    ours = config_for(broker.port, version=version)
    theirs = of_tank(ours, "other")
    first, other = MqttSink(journal.path, ours, now), MqttSink(second.path, theirs, now)
    with running(first), running(other):
        wait_until(lambda: first.health().up and other.health().up, "both are connected")
        time.sleep(2.5)  # what the broker keeps has been said by then
        at_s = time.monotonic()
        store(journal, learnt(1.5, round(now().time_s, 3)))
        wait_until(lambda: left(second), "the other has heard", 5.0)
        assert time.monotonic() - at_s < 5.0
        (it,) = left(second)
        assert (it.tank, it.told_by) == ("other", service_of(journal))
        assert math.exp(it.log_mean) == pytest.approx(1.5, rel=1e-4)
        for _, record, stamp in second.inbox():  # the core takes it up
            second.take(1, record, stamp)
        second.commit()
        time.sleep(1.0)  # in which it would come back, were there a circle
        assert left(journal) == []
    kept = json.loads(retained(broker.port, TAP)[TAP])
    assert kept["service"] == service_of(journal)
    assert kept["residual_mg_l"] == pytest.approx(1.5)


@pytest.mark.system
def test_a_service_that_comes_later_hears_what_is_kept(journal: Journal, broker: Broker) -> None:
    with Listener(broker.port, "done/#") as peer:
        peer.send(TAP, word(learnt="2026-01-01T00:00:00Z"), retain=True)
    with running(sink_to(journal, broker.port)):
        wait_until(lambda: left(journal), "the word is left for the core")
    assert left(journal)[0].told_by == "cellar"


@pytest.mark.system
def test_nonsense_on_the_topic_is_remarked_and_nothing_is_left(
    journal: Journal, broker: Broker
) -> None:
    sink = sink_to(journal, broker.port)
    with running(sink), Listener(broker.port, "done/#") as peer:
        wait_until(lambda: sink.health().up, "the sink is connected")
        peer.send(TAP, b"{", retain=True)
        wait_until(lambda: "is not believed" in str(sink.health()), "it is remarked")
    assert left(journal) == []


@pytest.mark.system
def test_a_clearing_takes_the_own_word_and_leaves_that_of_others(
    journal: Journal, broker: Broker
) -> None:
    service = service_of(journal)
    well = "afterfill/source/well/belief"
    with Listener(broker.port, "done/#") as peer:
        peer.send(TAP, word(service), retain=True)
        peer.send(well, word("cellar"), retain=True)
    clearing = Clearing(config_for(broker.port), service, frozenset())
    assert TAP in clearing.run(lambda _topics: True)
    assert well in retained(broker.port, "afterfill/#")
