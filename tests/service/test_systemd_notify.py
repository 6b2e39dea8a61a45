"""What the service manager hears, on a real datagram socket."""

import os
import threading
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from afterfill.service.systemd_notify import attend, say, watchdog_s
from manager_socket import ManagerSocket


@pytest.fixture(params=["path", "abstract"])
def manager(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[ManagerSocket]:
    name = str(tmp_path / "notify") if request.param == "path" else f"@afterfill-{uuid.uuid4()}"
    with ManagerSocket(name) as socket:
        yield socket


@contextmanager
def attending(manager: ManagerSocket, turns: list[int], usec: str = "") -> Iterator[None]:
    """The loop in a thread; `turns` holds the number of turns made."""
    stop = threading.Event()
    environment = {"NOTIFY_SOCKET": manager.name, **({"WATCHDOG_USEC": usec} if usec else {})}
    thread = threading.Thread(
        target=attend, args=(lambda: turns[0], lambda: "watching t", stop, environment)
    )
    thread.start()
    try:
        yield
    finally:
        stop.set()
        thread.join(5)
        assert not thread.is_alive()


def test_a_message_arrives_as_it_was_said(manager: ManagerSocket) -> None:
    say("READY=1", "STATUS=watching größere", environment={"NOTIFY_SOCKET": manager.name})
    assert manager.listen("READY", 5.0) == {"READY": "1", "STATUS": "watching größere"}


@pytest.mark.parametrize("name", [None, "", "vsock:2:1234", "/absent/socket", "/" + "x" * 300])
def test_without_anybody_who_listens_nothing_happens(name: str | None) -> None:
    say("READY=1", environment={} if name is None else {"NOTIFY_SOCKET": name})


def test_it_is_ready_with_the_first_turn_and_not_before(manager: ManagerSocket) -> None:
    turns = [0]
    with attending(manager, turns, usec="400000"):
        assert manager.nothing_within("READY", 0.5)
        assert manager.heard == []
        turns[0] = 1
        said = manager.listen("READY", 5.0)
    assert said == {"READY": "1", "WATCHDOG": "1", "STATUS": "watching t"}
    assert manager.listen("STOPPING", 5.0) is not None


def test_stopped_before_it_was_ready_it_never_says_so(manager: ManagerSocket) -> None:
    with attending(manager, [0]):
        pass
    assert manager.listen("STOPPING", 5.0) is not None
    assert not any("READY" in said for _, said in manager.heard)


def test_signs_of_life_come_at_half_the_time_while_turns_are_made_and_only_then(
    manager: ManagerSocket,
) -> None:
    turns = [1]
    with attending(manager, turns, usec="400000"):
        manager.listen("READY", 5.0)
        for _ in range(4):
            turns[0] += 1
            began, _ = manager.heard[-1]
            assert manager.listen("WATCHDOG", 5.0) is not None
            assert manager.heard[-1][0] - began < 0.4, "later than that, the manager would act"
        assert manager.nothing_within("WATCHDOG", 1.0), "no turns, no sign of life"
        turns[0] += 1
        assert manager.listen("WATCHDOG", 5.0) is not None


@pytest.mark.parametrize(
    ("environment", "seconds"),
    [
        ({}, None),
        ({"WATCHDOG_USEC": "60000000"}, 60.0),
        ({"WATCHDOG_USEC": "60000000", "WATCHDOG_PID": str(os.getpid())}, 60.0),
        ({"WATCHDOG_USEC": "60000000", "WATCHDOG_PID": "1"}, None),
        ({"WATCHDOG_USEC": "0"}, None),
        ({"WATCHDOG_USEC": "soon"}, None),
    ],
)
def test_the_watchdogs_time(environment: dict[str, str], seconds: float | None) -> None:
    assert watchdog_s(environment) == seconds


def test_a_manager_that_does_not_read_is_waited_for_without_work(tmp_path: Path) -> None:
    with ManagerSocket.in_folder(tmp_path) as manager:
        told, waited_s = {"NOTIFY_SOCKET": manager.name}, 0.0
        while waited_s < 0.5:  # until its queue is full
            began_s, busy_s = time.monotonic(), time.thread_time()
            say("WATCHDOG=1", environment=told)
            waited_s, busy_s = time.monotonic() - began_s, time.thread_time() - busy_s
    assert busy_s < 0.05
