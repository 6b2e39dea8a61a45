"""Whatever is said from outside: it steers no terminal, forges no line, turns no letters."""

import io
import logging
import re
import tempfile
import time
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stdout
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from afterfill.cli.console import notice, say, say_json, say_table
from afterfill.config import Smtp
from afterfill.journal.store import Journal
from afterfill.records import AlarmChange, AlarmCommand, Stamp
from afterfill.report.markup import tag
from afterfill.service.log_lines import LogLines
from afterfill.shown import holds_secret, shown, shown_lines, without_secrets
from afterfill.sinks.notify.mail import MailDelivery
from afterfill.sinks.notify.message import Message
from afterfill.tank import TankState, folded
from cli_room import afterfill, estimate, reading, record, write_config
from notify_peers import Mailbox, text_of_mail
from tank_stories import config_of, setup_of

NASTY = (
    "\x1b[2J\x1b[31m", "a\nWARNING afterfill: forged", "a\rb", "\u2028x\u2029y", "\u202eevil\u202c",
    "\x9b31m", "\x00\x07\x7f", "\u200b\u2066\ufeff", "[bold red]x[/bold red]", "[/]", ":warning:",
    "\ud800", "<script>alert(1)</script>", "a\x0bb\x0cc\x1cd\x85e",
)  # fmt: skip
TEXTS = st.sampled_from(NASTY) | st.text(st.characters(exclude_categories=()), max_size=80)


def assert_plain(text: str, lines: int | None = None) -> None:
    """No control characters but line feeds, nothing that turns or hides letters."""
    bad = {
        c for c in text if c != "\n" and unicodedata.category(c) in ("Cc", "Cf", "Cs", "Zl", "Zp")
    }
    assert not bad, ascii(text)
    if lines is not None:
        assert len(text.splitlines()) == lines, ascii(text)


@given(TEXTS)
def test_what_is_shown_is_plain_and_one_line(text: str) -> None:
    assert_plain(shown(text), lines=1 if text else 0)
    assert shown(shown(text)) == shown(text)
    assert len(shown(text, 50)) <= 50
    assert_plain(shown_lines(text))
    assert shown_lines(text).count("\n") == text.count("\n")


@given(TEXTS, TEXTS)
def test_no_log_line_can_be_forged(message: str, error: str) -> None:
    stream = io.StringIO()
    handler = logging.StreamHandler(stream)
    handler.setFormatter(LogLines())
    try:
        raise RuntimeError(error)
    except RuntimeError as raised:
        told = (type(raised), raised, raised.__traceback__)
    record = logging.LogRecord("afterfill.x", 30, "", 0, "said: %s", (message,), told)
    handler.emit(record)
    written = stream.getvalue()
    assert_plain(written)
    first, *further = written.splitlines()
    assert first.startswith("WARNING afterfill.x: said: ")
    assert further
    assert all(line.startswith("    ") for line in further)


def test_a_library_that_quotes_an_address_gives_nothing_away() -> None:
    told = logging.LogRecord(
        "urllib3", 30, "", 0, "no answer from %s", ("https://me:word@db/?p=word&u=me",), None
    )
    line = LogLines().format(told)
    assert line == "WARNING urllib3: no answer from https://***@db/?p=***&u=***"


@pytest.mark.parametrize(
    "text",
    ["keeper@example.org", "http://db:8086", "2026-03-01T07:30:00Z", "ORP=1;P=2;U=3",
     "/dev/serial/by-path/platform-0000:01:00.0-usb-0:1.2:1.0-port0", "R\r", "sink mqtt: up"],
)  # fmt: skip
def test_what_is_no_secret_stays(text: str) -> None:
    assert without_secrets(text) == text
    assert not holds_secret(text)


@contextmanager
def printed() -> Iterator[io.StringIO]:
    stream = io.StringIO()
    with redirect_stdout(stream):
        yield stream


@given(TEXTS)
def test_the_terminal_gets_plain_lines_and_its_markup_is_text(text: str) -> None:
    with printed() as stream:
        say(f"reason: {text}")
    assert_plain(stream.getvalue(), lines=1)
    with printed() as stream:
        say_table(("a", "b"), [("x", text)])
    assert_plain(stream.getvalue())
    if text in ("[bold red]x[/bold red]", "[/]", ":warning:"):
        assert text in stream.getvalue()
    with printed() as stream:
        say_json({"kind": "x", "text": text})
    assert_plain(stream.getvalue(), lines=1)


def test_a_remark_is_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    notice("a\nb\x1b[31m")
    assert capsys.readouterr().err == "afterfill: a\\nb\\x1b[31m\n"


@settings(max_examples=30, deadline=None)
@given(TEXTS.filter(lambda text: 3 <= len(text) <= 200))
def test_a_reason_reaches_alarm_list_and_now_as_plain_text(text: str) -> None:
    if any(0xD800 <= ord(c) < 0xE000 for c in text):
        return  # no record can hold it
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        config = str(write_config(folder))
        now_s = round(time.time()) - 5.0
        told = AlarmCommand(now_s, "window", "ph", "out-of-service", reason=text)
        change = AlarmChange(
            now_s, "window", "ph", "out-of-service", "medium", True, f"by a person: {text}"
        )
        record(folder, reading(now_s), estimate(now_s, why_blind=text, sees=False), told, change)
        for words in (["alarm", "list"], ["alarm", "list", "--json"], ["now"], ["now", "--json"]):
            result = afterfill(*words, "--config", config)
            assert_plain(result.output)
            assert not re.search(r"^WARNING", result.output, re.MULTILINE)


@given(TEXTS)
def test_an_alarm_says_a_reason_as_plain_text_of_bounded_length(text: str) -> None:
    state, setup = TankState(), setup_of(config_of())
    command = AlarmCommand(1.8e9, "t", "ph", "out-of-service", reason=text * 40)
    _, found = folded(setup, state, command)
    (change,) = found
    assert isinstance(change, AlarmChange)
    assert_plain(change.message, lines=1)
    assert len(change.message) <= 1000


@given(TEXTS)
def test_the_page_shows_letters_that_turn_or_hide_as_escapes(text: str) -> None:
    page = tag("p", text, title=text)
    assert_plain(page)
    assert "<script" not in page


def test_a_mail_takes_any_words(tmp_path: Path) -> None:
    keys = {"from": "a@example.org", "to": "b@example.org", "host": "127.0.0.1"}
    with Mailbox() as box:
        delivery = MailDelivery(Smtp.model_validate({**keys, "port": box.port, "starttls": False}))
        for text in NASTY:
            delivery.send(Message.of(f"HIGH window: {text}\r\nBcc: x@example.org", f"why:\n{text}"))
    assert len(box.mails) == len(NASTY)
    for mail in box.mails:
        assert mail["Bcc"] is None
        assert_plain(str(mail["Subject"]), lines=1)
        assert_plain(text_of_mail(mail).replace("\r\n", "\n"))


def test_the_journal_keeps_a_reason_as_it_was_said(tmp_path: Path) -> None:
    told = AlarmCommand(1.8e9, "window", "ph", "out-of-service", reason=NASTY[1])
    with Journal.open(tmp_path / "j.db") as journal:
        journal.append(told, Stamp(1.8e9, True, "boot", 1.0))
        journal.commit()
        assert journal.latest("alarm-command", "window")[0].record == told  # kept as it was said
