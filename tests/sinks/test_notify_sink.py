"""The sink that reaches a person, on a real journal and with real servers."""

import importlib.util
import sys
import time
from dataclasses import replace
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

import pytest

from afterfill.config import Notify
from afterfill.journal.store import Journal
from afterfill.planning.shown import Shown
from afterfill.sinks.notify import picture as notify_picture
from afterfill.sinks.notify import sink as notify
from afterfill.sinks.notify.message import Message
from afterfill.sinks.notify.sink import NotifySink
from notify_peers import Mailbox, WebService, hanging_server, pictures_of_mail, text_of_mail
from notify_room import (
    LIMITS,
    Deaf,
    alarm,
    deaf_sink,
    impatient,
    mail_table,
    put,
    sink_of,
    states_kept,
)
from sample_records import START_S, estimate, now, orp, running
from servers import wait_until


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(notify, "_POLL_S", 0.05)


def test_an_alarm_comes_as_a_mail_with_the_picture_of_the_last_hours(journal: Journal) -> None:
    put(journal, *(replace(orp(n), time_s=now().time_s - 600 + n) for n in range(0, 600, 30)))
    put(journal, replace(estimate(START_S), time_s=now().time_s - 60))
    with Mailbox() as box, running(sink := sink_of(journal, mail_table(box.port), LIMITS)):
        put(journal, alarm())
        wait_until(lambda: box.mails, "the mail")
        wait_until(lambda: sink.health().age_s is not None, "the success is known")
        assert sink.health().up
    assert box.subjects == ["HIGH window: disinfectant in the water"]
    assert "How sure: 0.31 mg/L." in text_of_mail(box.mails[0])
    (picture,) = pictures_of_mail(box.mails[0])
    assert picture.startswith(b"\x89PNG\r\n\x1a\n")
    assert len(picture) > 10_000


def test_a_mail_speaks_in_the_keepers_units(journal: Journal) -> None:
    ear = Deaf()
    warm = replace(alarm(name="temperature"), message="31.0 °C; limits 20 to 30 °C")
    table = Notify.model_validate({"url_file": "unused"})
    shown = Shown("us", fahrenheit=True)
    with running(sink_of(journal, table, deliveries=lambda _table: [ear], shown=shown)):
        put(journal, warm)
        wait_until(lambda: ear.messages, "the message")
    assert "87.8 °F (31.0 °C); limits 68.0 to 86.0 °F (20 to 30 °C)" in ear.messages[0].text


def test_without_the_plotting_library_the_text_goes_alone(
    journal: Journal, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(importlib.util, "find_spec", lambda _name: None)
    with Mailbox() as box, running(sink_of(journal, mail_table(box.port), LIMITS)):
        put(journal, alarm())
        wait_until(lambda: box.mails, "the mail")
    assert pictures_of_mail(box.mails[0]) == []


def test_a_drawing_that_fails_or_hangs_does_not_hold_the_message_back(
    journal: Journal, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(notify_picture, "_PATIENCE_S", 0.2)
    for body in ("import time; time.sleep(60)", "raise SystemExit('no pen')"):
        program = tmp_path / "python"
        program.write_text(f"#!{sys.executable}\n{body}\n")
        program.chmod(0o755)
        monkeypatch.setattr(sys, "executable", str(program))
        with notify_picture.picture_of(journal.path, "window", START_S, 0.019) as picture:
            assert picture is None


def test_what_the_journal_holds_at_the_first_start_is_not_told(journal: Journal) -> None:
    put(journal, alarm(name="probe-lost"))
    delivery = Deaf()
    sink = deaf_sink(journal, delivery)
    put(journal, alarm())  # after the sink was made, before its thread runs
    with running(sink):
        wait_until(lambda: delivery.messages, "the new alarm")
    assert [message.subject for message in delivery.messages] == [
        "HIGH window: disinfectant in the water"
    ]
    assert delivery.messages[0].urgent


def test_a_return_is_told_after_a_restart_and_nothing_is_told_twice(journal: Journal) -> None:
    delivery = Deaf()
    with running(deaf_sink(journal, delivery)):
        put(journal, alarm())
        wait_until(lambda: delivery.messages, "the alarm")
    put(journal, alarm("normal"))  # while no sink runs
    for _ in range(2):
        with running(deaf_sink(journal, delivery)):
            wait_until(lambda: len(delivery.messages) == 2, "the return")
            put(journal, replace(estimate(START_S), time_s=now().time_s))
            wait_until(lambda: _taken(journal), "the sink has looked once more")
    assert [message.subject[:4] for message in delivery.messages] == ["HIGH", "Over"]
    assert not delivery.messages[1].urgent


def _taken(journal: Journal) -> bool:
    """Whether every recipient's state is on the disk (the position is written at the end)."""
    return any(journal.meta(key) for key in states_kept(journal))


def _is_kept(journal: Journal, word: str) -> bool:
    return any(word in (journal.meta(key) or "") for key in states_kept(journal))


def test_what_waits_for_the_end_of_quiet_hours_outlives_a_restart(journal: Journal) -> None:
    hour = [3]
    delivery = Deaf()
    table = Notify.model_validate(
        {"url_file": "x", "at_least": "low", "quiet": ["22:00", "07:00"], "quiet_up_to": "medium"}
    )

    def sink() -> NotifySink:
        return sink_of(
            journal, table, deliveries=lambda _table: [delivery],
            local=lambda _time_s: datetime(2026, 3, 1, hour[0], tzinfo=UTC),
        )  # fmt: skip

    low = replace(alarm(name="calibration-due"), priority="low")
    with running(sink()):
        put(journal, low)
        wait_until(lambda: _is_kept(journal, "calibration"), "the alarm is kept")
    assert delivery.messages == []
    hour[0] = 8
    with running(sink()):
        wait_until(lambda: delivery.messages, "the digest")
    assert delivery.messages[0].subject == "After quiet hours: 1 from tank window"


def test_a_failure_is_counted_said_once_and_tried_again(
    journal: Journal, caplog: pytest.LogCaptureFixture
) -> None:
    delivery = Deaf()
    delivery.sentence = "the service is on holiday"
    with running(sink := deaf_sink(journal, delivery)):
        assert sink.health().up
        put(journal, alarm())
        wait_until(lambda: delivery.tries >= 3, "three tries")
        health = sink.health()
        assert (health.up, health.detail) == (False, "the service is on holiday")
        assert health.errors >= 2
        delivery.sentence = ""
        wait_until(lambda: delivery.messages, "the message")
        wait_until(lambda: sink.health().up, "the success is known")
    assert caplog.text.count("on holiday") == 1
    assert len(delivery.messages) == 1


def test_the_pause_between_tries_grows(journal: Journal, monkeypatch: pytest.MonkeyPatch) -> None:
    delivery, times = Deaf(), []
    delivery.sentence = "no"
    send = delivery.send

    def noted(message: Message) -> None:
        times.append(time.monotonic())
        send(message)

    monkeypatch.setattr(delivery, "send", noted)
    with running(deaf_sink(journal, delivery)):
        put(journal, alarm())
        wait_until(lambda: len(times) >= 4, "four tries")
    pauses = [b - a for a, b in pairwise(times)]
    assert [pause >= 0.1 * 2**n for n, pause in enumerate(pauses[:3])] == [True] * 3


def test_one_recipient_that_refuses_does_not_keep_the_other_from_being_told(
    journal: Journal,
) -> None:
    deaf, other = Deaf(), Deaf()
    other.address = "other://"
    deaf.sentence = "no"
    with running(sink := deaf_sink(journal, deaf, other)):
        put(journal, alarm())
        wait_until(lambda: other.messages, "the other is told")
        wait_until(lambda: deaf.tries >= 2, "the deaf one is tried again")
        assert not sink.health().up
    assert len(other.messages) == 1


def test_a_service_that_hangs_blocks_no_other_entry(journal: Journal) -> None:
    with hanging_server() as port, Mailbox() as box:
        hanging = sink_of(journal, mail_table(port), deliveries=lambda t: [impatient(t)])
        with running(hanging), running(sink_of(journal, mail_table(box.port))):
            put(journal, alarm())
            wait_until(lambda: box.mails, "the mail by the other entry", 5.0)
            wait_until(lambda: "does not answer within" in hanging.health().detail, "the time-out")


def test_a_push_service_that_hangs_is_given_up(journal: Journal, tmp_path: Path) -> None:
    file = tmp_path / "urls"
    with hanging_server() as port, WebService() as web:
        file.write_text(f"json://127.0.0.1:{port}?rto=0.3\n{web.address}\n")
        with running(sink := sink_of(journal, Notify(url_file=file))):
            put(journal, alarm())
            wait_until(lambda: web.posts, "the other address")
            wait_until(lambda: not sink.health().up, "the failure is known")


def test_an_address_file_that_comes_late_is_read_then(journal: Journal, tmp_path: Path) -> None:
    file = tmp_path / "urls"
    with WebService() as web, running(sink := sink_of(journal, Notify(url_file=file))):
        wait_until(lambda: "cannot be read" in sink.health().detail, "the sentence")
        put(journal, alarm())
        file.write_text(web.address)
        wait_until(lambda: web.posts, "the alarm that came meanwhile")
        wait_until(lambda: sink.health().up, "the trouble is over")


def test_the_secret_of_an_address_is_not_kept_in_the_journal(
    journal: Journal, tmp_path: Path
) -> None:
    file = tmp_path / "urls"
    with WebService() as web:
        file.write_text(web.address)
        with running(sink_of(journal, Notify(url_file=file))):
            put(journal, alarm())
            wait_until(lambda: web.posts, "the message")
    assert b"secret-path" not in journal.path.read_bytes()


def test_a_second_entry_to_the_same_address_is_told_on_its_own_terms(journal: Journal) -> None:
    delivery = Deaf()
    with (
        running(deaf_sink(journal, delivery)),
        running(deaf_sink(journal, delivery, after_minutes=0.005)),
    ):
        put(journal, alarm())
        wait_until(lambda: len(delivery.messages) == 2, "told at once and by escalation")
