"""The real service under a service manager's eyes: ready, alive, hanging, stopping."""

import os
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from afterfill.journal.check import with_check
from manager_socket import ManagerSocket
from servers import free_port

pytestmark = pytest.mark.system
COMMAND = [sys.executable, "-m", "afterfill.cli.main", "run", "--config"]
CONFIG = """
[tank.t]
litres = 100
[mqtt]
host = "127.0.0.1"
port = {port}
[journal]
path = "j.db"
"""
WATCHDOG_S = 2.0
INSERT_COMMAND = "INSERT INTO inbox (body, stamp, crc) VALUES (?, ?, ?)"
COMMAND_ROW = with_check(
    "inbox",
    (
        '{"kind":"dose","time":"2026-03-01T07:30:00Z","tank":"t","neutraliser_ml":1.0}',
        '[1772350200.0,true,"boot",1.0]',
    ),
)


@contextmanager
def service(folder: Path, manager: ManagerSocket) -> Iterator[subprocess.Popen[bytes]]:
    config = folder / "afterfill.toml"
    config.write_text(CONFIG.format(port=free_port()))
    environment = {
        **os.environ,
        "NOTIFY_SOCKET": manager.name,
        "WATCHDOG_USEC": str(round(WATCHDOG_S * 1e6)),
    }
    process = subprocess.Popen([*COMMAND, str(config)], env=environment, stderr=subprocess.DEVNULL)
    try:
        yield process
    finally:
        process.kill()
        process.wait(10)


@pytest.fixture
def manager(tmp_path: Path) -> Iterator[ManagerSocket]:
    with ManagerSocket.in_folder(tmp_path) as socket:
        yield socket


def test_it_is_ready_lives_although_the_broker_is_away_and_says_that_it_stops(
    tmp_path: Path, manager: ManagerSocket
) -> None:
    with service(tmp_path, manager) as process:
        assert manager.listen("READY", 30.0) is not None
        assert (tmp_path / "j.db").exists()
        for _ in range(4):
            said = manager.listen("WATCHDOG", WATCHDOG_S)
            assert said is not None, "the manager would have ended it"
            assert said["STATUS"] == "watching t; away: mqtt"
        process.send_signal(signal.SIGTERM)
        assert manager.listen("STOPPING", 5.0) is not None
        assert process.wait(10) == 0


def test_a_core_that_hangs_gives_no_sign_of_life(tmp_path: Path, manager: ManagerSocket) -> None:
    """The core is made to hang from without: another program locks the journal, and the core
    waits for it while it takes up commands."""
    with service(tmp_path, manager):
        assert manager.listen("READY", 30.0) is not None
        with closing(sqlite3.connect(tmp_path / "j.db", isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            other.executemany(INSERT_COMMAND, [COMMAND_ROW] * 500)
            other.execute("COMMIT")
            other.execute("BEGIN IMMEDIATE")  # before the core is through with them
            manager.listen("WATCHDOG", WATCHDOG_S)  # of turns before the lock was met
            assert manager.nothing_within("WATCHDOG", 1.5 * WATCHDOG_S)
            other.execute("ROLLBACK")
        assert manager.listen("WATCHDOG", 10.0) is not None, "it goes on as soon as it can"
