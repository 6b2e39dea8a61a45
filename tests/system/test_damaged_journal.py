"""The real service on a damaged journal: it says so, keeps the file, begins a new one."""

import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from afterfill.journal.store import Journal

pytestmark = pytest.mark.system
CONFIG = '[tank.t]\nlitres = 100\n[journal]\npath = "j.db"\ncommit_every_s = 0\n'


def test_it_runs_on_with_a_new_journal_and_keeps_the_old_file(tmp_path: Path) -> None:
    damaged = b"no database any more" * 500
    (tmp_path / "j.db").write_bytes(damaged)
    (tmp_path / "afterfill.toml").write_text(CONFIG)
    command = [sys.executable, "-m", "afterfill.cli.main", "run", "--config"]
    with subprocess.Popen(
        [*command, str(tmp_path / "afterfill.toml")], stderr=subprocess.PIPE, text=True
    ) as service:
        try:
            _await_records(tmp_path / "j.db")
            service.send_signal(signal.SIGTERM)
            _, said = service.communicate(timeout=20)
        finally:
            service.kill()
    assert service.returncode == 0
    (aside,) = tmp_path.glob("j.db.damaged-*")
    assert aside.read_bytes() == damaged
    assert f"the journal was damaged: it is kept as {aside.name}, and a new one was begun" in said


def _await_records(path: Path) -> None:
    deadline_s = time.monotonic() + 20
    while time.monotonic() < deadline_s:
        if path.read_bytes()[:6] == b"SQLite" if path.exists() else False:
            with Journal.open(path, read_only=True) as journal:
                if journal.entries(limit=1):
                    return
        time.sleep(0.1)
    pytest.fail("the service wrote no record")
