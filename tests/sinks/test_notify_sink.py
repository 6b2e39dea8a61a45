"""The sink that reaches a person, on a real journal and with real servers."""

import importlib.util
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from functools import partial
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from afterfill.config import Notify
from afterfill.errors import JournalError, SinkUnavailable
from afterfill.journal.store import Journal
from afterfill.planning.shown import Shown
from afterfill.records import AlarmChange, AlarmState, Record
from afterfill.sinks.notify import picture as notify_picture
from afterfill.sinks.notify import sink as notify
from afterfill.sinks.notify.message import Message
from afterfill.sinks.notify.sink import NotifySink
from afterfill.sinks.notify.state import from_text
from notify_peers import Mailbox, WebService, hanging_server, pictures_of_mail, text_of_mail
from sample_records import START_S, estimate, now, orp, running
from servers import wait_until

LIMITS = {"window": 0.019}


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(notify, "_POLL_S", 0.05)


def alarm(state: AlarmState = "unacknowledged", name: str = "residual-oxidant") -> AlarmChange:
    return AlarmChange(
        now().time_s, "window", name, state, "high", state == "unacknowledged", "0.31 mg/L"
    )


def put(journal: Journal, *records: Record) -> None:
    """What the core does: append with the present's stamp and commit."""
    for record in records:
        journal.append(record, now())
    journal.commit()


def mail_table(port: int, **keys: Any) -> Notify:
    smtp = {
        "host": "localhost", "port": port, "from": "a@example.org", "to": "k@example.org",
        "starttls": False,
    }  # fmt: skip
    return Notify.model_validate({"smtp": smtp, **keys})


def sink_of(
    journal: Journal,
    table: Notify,
    limits: dict[str, float] | None = None,
    **further: Any,
) -> NotifySink:
    return NotifySink(journal.path, table, now, limits or {}, first_pause_s=0.1, **further)


class Deaf:
    """A recipient that refuses while `sentence` is set, and remembers what it took."""

    name, address = "deaf", "deaf://"

    def __init__(self) -> None:
        self.sentence = ""
        self.messages: list[Message] = []
        self.tries = 0

    def examine(self) -> None: ...

    def send(self, message: Message) -> None:
        self.tries += 1
        if self.sentence:
            raise SinkUnavailable(self.sentence)
        self.messages.append(message)


def deaf_sink(journal: Journal, *deliveries: Deaf, **keys: Any) -> NotifySink:
    table = Notify.model_validate({"url_file": "unused", **keys})
    return sink_of(journal, table, deliveries=lambda _table: deliveries)


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
    return any(journal.meta(key) for key in _keys(journal))


def _keys(journal: Journal) -> list[str]:
    rows = journal._db.execute("SELECT key FROM meta WHERE key LIKE 'notify.%'")
    return [row[0] for row in rows.fetchall()]


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
        wait_until(lambda: any("calibration" in (journal.meta(k) or "") for k in _keys(journal)),
                   "the alarm is kept")  # fmt: skip
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
        hanging = sink_of(journal, mail_table(port), deliveries=lambda t: [_impatient(t)])
        with running(hanging), running(sink_of(journal, mail_table(box.port))):
            put(journal, alarm())
            wait_until(lambda: box.mails, "the mail by the other entry", 5.0)
            wait_until(lambda: "does not answer within" in hanging.health().detail, "the time-out")


def _impatient(table: Notify) -> Any:
    from afterfill.sinks.notify.mail import MailDelivery

    assert table.smtp is not None
    return MailDelivery(table.smtp, timeout_s=1.0)


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


# --- kill -9 -----------------------------------------------------------------------------------

_VICTIM = """
import sys, threading, time
from pathlib import Path
from afterfill.config import Notify
from afterfill.records import Stamp
from afterfill.sinks.notify import sink as notify, rules as notify_rules
from afterfill.sinks.notify.sink import NotifySink

notify._POLL_S = 0.01
notify_rules.TOGETHER = 100  # the rate is none of this test's business
journal, port = Path(sys.argv[1]), int(sys.argv[2])
smtp = {"host": "localhost", "port": port, "from": "a@x", "to": "k@x", "starttls": False}
table = Notify.model_validate({"smtp": smtp, "per_hour": 120, "repeat_minutes": 0})
now = lambda: Stamp(round(time.time(), 3), True, "boot", time.monotonic())
sink = NotifySink(journal, table, now, {}, first_pause_s=0.05)
print("ready", flush=True)
sink.run(threading.Event())
"""


@contextmanager
def victim(journal: Journal, port: int) -> Iterator[subprocess.Popen[str]]:
    command = [sys.executable, "-c", _VICTIM, str(journal.path), str(port)]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    try:
        assert process.stdout.readline() == "ready\n"
        yield process
    finally:
        process.kill()
        process.wait(10)
        process.stdout.close()


def test_a_kill_loses_no_alarm_and_doubles_only_a_message_under_way(journal: Journal) -> None:
    kills = 8
    with Mailbox() as box:
        told = _told_counter(box)
        for number in range(kills):
            with victim(journal, box.port):
                put(journal, replace(alarm(), tank=f"tank-{number}"))
                if number % 2:
                    wait_until(partial(_told_is_kept, journal, f"tank-{number}"), "it is kept")
                else:
                    time.sleep(0.01 * number)  # the moment of the kill is what is varied
        with victim(journal, box.port):
            wait_until(lambda: _told_is_kept(journal, f"tank-{kills - 2}"), "the rest is told")
    counts = [told(f"tank-{number}") for number in range(kills)]
    assert min(counts) == 1, "none is lost"
    assert max(counts) <= 2, "each kill doubles the one message that was under way"
    assert counts[1::2] == [1] * (kills // 2), "what is kept as told is not told again"


def _told_is_kept(journal: Journal, tank: str) -> bool:
    for key in _keys(journal):
        state = from_text(journal.meta(key) or "")
        if state is not None and any(
            e.tank == tank and e.told_run_s is not None for e in state.episodes
        ):
            return True
    return False


def _told_counter(box: Mailbox) -> Callable[[str], int]:
    def told(tank: str) -> int:
        return sum(text_of_mail(mail).count(f"Tank {tank}: ") for mail in box.mails)

    return told


def test_a_stop_while_a_message_hangs_is_not_waited_for_longer_than_the_time_out(
    journal: Journal,
) -> None:
    with hanging_server() as port:
        sink = sink_of(journal, mail_table(port), deliveries=lambda t: [_impatient(t)])
        stop = threading.Event()
        thread = threading.Thread(target=sink.run, args=(stop,))
        thread.start()
        put(journal, alarm())
        wait_until(lambda: not sink.health().up, "the first time-out")
        stop.set()
        thread.join(3.0)
        assert not thread.is_alive()


def test_the_position_is_kept_so_that_a_start_need_not_search(journal: Journal) -> None:
    delivery = Deaf()
    with running(deaf_sink(journal, delivery)):
        put(journal, *map(orp, range(20)), alarm())
        wait_until(lambda: delivery.messages, "the alarm")
    state = from_text(journal.meta(_keys(journal)[0]) or "")
    assert state is not None
    assert state.seq == journal.last_seq()


def test_a_disk_that_takes_nothing_neither_silences_nor_repeats_a_message(
    journal: Journal, monkeypatch: pytest.MonkeyPatch
) -> None:
    delivery = Deaf()
    sink = deaf_sink(journal, delivery)
    refused = []

    def full(_: Journal, key: str, value: str) -> None:
        refused.append(value)
        raise JournalError("the journal j.db cannot grow: the disk is full; free some space")

    with running(sink):
        wait_until(lambda: journal.meta(sink._begin_key) == "", "the recipient is enrolled")
        with monkeypatch.context() as disk:
            disk.setattr(Journal, "set_meta", full)
            put(journal, alarm())
            wait_until(lambda: delivery.messages, "the message, though nothing can be remembered")
            tries = len(refused)
            wait_until(lambda: len(refused) > tries + 3, "more tries to remember it")
    with running(deaf_sink(journal, delivery)):
        put(journal, alarm(name="ph"))
        wait_until(lambda: len(delivery.messages) > 1, "the next alarm")
    assert [message.subject for message in delivery.messages] == [
        "HIGH window: disinfectant in the water",
        "HIGH window: pH outside its limits",
    ]
