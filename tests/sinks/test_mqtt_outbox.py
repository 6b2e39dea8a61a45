"""What waits for the broker: news soon, the rest in order, and nothing old after something new."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from afterfill.sinks.mqtt.messages import Message
from afterfill.sinks.mqtt.outbox import Outbox


def message(topic: str, payload: str = "") -> Message:
    return Message(topic, payload, retain=True)


def test_news_waits_for_one_of_the_others_at_most() -> None:
    outbox = Outbox()
    for number in range(100):
        outbox.before(message(f"entity/{number}"))
    outbox.news(message("alarm"))
    assert "alarm" in {outbox.take().topic, outbox.take().topic}


def test_all_the_others_come_in_order_although_news_never_ends() -> None:
    outbox, told = Outbox(), []
    for number in range(20):
        outbox.before(message(f"entity/{number}"))
    for number in range(40):
        outbox.news(message(f"news/{number}"))
        told.append(outbox.take().topic)
    assert [topic for topic in told if topic.startswith("entity")] == [
        f"entity/{number}" for number in range(20)
    ]


words = st.lists(st.tuples(st.booleans(), st.sampled_from("abc")), max_size=30)


@given(words)
def test_the_last_word_on_a_topic_is_the_newest(said: list[tuple[bool, str]]) -> None:
    outbox, newest = Outbox(), dict[str, str]()
    for number, (is_news, topic) in enumerate(said):
        if is_news or topic not in newest:  # what was there before is told first of all
            (outbox.news if is_news else outbox.before)(message(topic, str(number)))
            newest[topic] = str(number)
    last = dict[str, str]()
    while len(outbox):
        it = outbox.take()
        last[it.topic] = it.payload
    assert last == newest


def test_a_cleared_one_is_empty() -> None:
    outbox = Outbox()
    outbox.before(message("a"))
    outbox.news(message("b"))
    outbox.clear()
    assert not len(outbox)
    assert not outbox.has_news
    with pytest.raises(IndexError):
        outbox.take()
