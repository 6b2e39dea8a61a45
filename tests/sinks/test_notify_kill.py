"""What a kill, a stop and a full disk leave of messages."""

import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from functools import partial

import pytest

from afterfill.errors import JournalError
from afterfill.journal.store import Journal
from afterfill.sinks.notify import sink as notify
from afterfill.sinks.notify.state import from_text
from notify_peers import Mailbox, hanging_server, text_of_mail
from notify_room import Deaf, alarm, deaf_sink, impatient, mail_table, put, sink_of, states_kept
from sample_records import orp, running
from servers import wait_until


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(notify, "_POLL_S", 0.05)


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
    for key in states_kept(journal):
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
        sink = sink_of(journal, mail_table(port), deliveries=lambda t: [impatient(t)])
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
    state = from_text(journal.meta(states_kept(journal)[0]) or "")
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
