"""Signs of life: sent while the journal grows, never by a timer alone."""

import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from afterfill.errors import SinkUnavailable
from afterfill.journal.store import Journal
from afterfill.records import Stamp, Tick
from afterfill.sinks.notify import heartbeat
from afterfill.sinks.notify.heartbeat import Heartbeat, fresh_within_s
from notify_peers import WebService, hanging_server
from sample_records import now, running
from servers import free_port, wait_until


@pytest.fixture
def web() -> Iterator[WebService]:
    with WebService() as service:
        yield service


@pytest.fixture
def url(web: WebService, tmp_path: Path) -> Path:
    return url_file(tmp_path, f"http://127.0.0.1:{web.port}/alive/secret-id")


def url_file(folder: Path, url: str) -> Path:
    file = folder / "heartbeat-url"
    file.write_text(url + "\n")
    return file


def tick(journal: Journal, stamp: Stamp) -> None:
    journal.append(Tick(stamp.time_s, "window"), stamp)
    journal.commit()


def beating(journal: Journal, url: Path, *, fresh_s: float = 60.0) -> Heartbeat:
    return Heartbeat(journal.path, url, 0.05, now, fresh_s=fresh_s)


def test_it_beats_while_the_journal_grows(journal: Journal, web: WebService, url: Path) -> None:
    tick(journal, now())
    with running(heart := beating(journal, url)):
        wait_until(lambda: len(web.gets) >= 3, "three signs of life")
        assert heart.health().up
    assert set(web.gets) == {"/alive/secret-id"}


def test_it_falls_silent_when_the_journal_stands_still(
    journal: Journal, web: WebService, url: Path
) -> None:
    tick(journal, now())
    with running(heart := beating(journal, url, fresh_s=0.5)):
        wait_until(lambda: not heart.health().up, "the standstill is noticed")
        beats = len(web.gets)
        assert beats >= 1
        assert "the journal gets no new records (the newest is" in heart.health().detail
        errors = heart.health().errors
        wait_until(lambda: heart.health().errors >= errors + 3, "three more turns")
        assert len(web.gets) == beats
        tick(journal, now())
        wait_until(lambda: len(web.gets) > beats, "it beats again")


@pytest.mark.parametrize("boot", ["another", None])
def test_records_of_another_boot_or_none_are_no_progress(
    journal: Journal, web: WebService, url: Path, boot: str | None
) -> None:
    if boot is not None:
        tick(journal, replace(now(), boot_id=boot))
    with running(heart := beating(journal, url, fresh_s=0.3)):
        wait_until(lambda: heart.health().errors >= 3, "three turns")
        assert "there is no record since this boot" in heart.health().detail
    assert web.gets == []


def test_a_start_is_given_time_for_its_first_records(
    journal: Journal, web: WebService, url: Path
) -> None:
    with running(heart := beating(journal, url)):
        assert heart.health().up
        tick(journal, now())
        wait_until(lambda: web.gets, "the first sign of life")
        assert heart.health().errors == 0


def test_readings_that_are_committed_rarely_are_progress() -> None:
    assert fresh_within_s(300.0) > 300.0 + 60.0


@pytest.mark.parametrize("answer", ["500", "refused", "hangs"])
def test_an_address_that_does_not_answer_is_said_without_its_secret(
    web: WebService, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, answer: str
) -> None:
    monkeypatch.setattr(heartbeat, "_TIMEOUT_S", 0.3)
    web.status = 500
    with hanging_server() as hanging:
        port = {"500": web.port, "refused": free_port(), "hangs": hanging}[answer]
        began_s = time.monotonic()
        with pytest.raises(SinkUnavailable) as refused:
            heartbeat.send(url_file(tmp_path, f"http://127.0.0.1:{port}/secret-id"))
        assert time.monotonic() - began_s < 5.0
    assert "did not take the sign of life" in str(refused.value)
    assert "secret" not in str(refused.value)


@pytest.mark.parametrize("text", ["", "ftp://example.org/x", "file:///etc/passwd"])
def test_what_is_no_web_address_is_refused_without_the_network(text: str, tmp_path: Path) -> None:
    with pytest.raises(SinkUnavailable, match="must hold one address that begins with https"):
        heartbeat.examine(url_file(tmp_path, text))
    with pytest.raises(SinkUnavailable, match="absent cannot be read"):
        heartbeat.examine(tmp_path / "absent")
