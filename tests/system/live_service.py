"""The real service in a process of its own, on a pseudo-terminal; its probes are played here."""

import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import asdict
from pathlib import Path
from typing import IO, Any, Self

from afterfill.journal.store import Entry, Journal
from afterfill.records import Quantity
from afterfill.simulation.line_device import PATTERN, LineDevice
from afterfill.simulation.pty_port import PtyPort, Responder
from servers import wait_until
from system.service_under_test import Options

TESTS = Path(__file__).parents[1]
COMMAND = [sys.executable, "-m", "afterfill.cli.main"]
_PROBE = """
[[probe]]
tank = "t"
quantity = "{quantity}"
driver = "line"
port = "{port}"
every_s = {every_s}
timeout_s = 0.3
request = "R\\r"
pattern = '{pattern}'
"""
WITHIN_S = 30.0


class Water:
    """What the probes show: quiet, or (`sour`) with a pH that no tank may have."""

    def __init__(self) -> None:
        self.sour = False
        self._asked = 0

    def __call__(self) -> Mapping[Quantity, float]:
        self._asked += 1
        ripple = (self._asked % 7) / 10
        return {
            "orp": 312.0 + ripple, "ph": 9.6 if self.sour else 7.3 + ripple / 20,
            "temperature": 24.5 + ripple / 5,
        }  # fmt: skip


class LiveService:
    """A configuration, its port, and the service on them: made -> `start` -> ... -> `stop`.

    Also a context manager, which plugs the port in and in the end kills what still runs.
    """

    def __init__(
        self,
        folder: Path,
        *,
        speed: float = 1.0,
        every_s: float = 0.5,
        commit_every_s: float = 0.5,
        extra: str = "",
        device: Responder | None = None,
        quantities: tuple[str, ...] = ("orp", "ph", "temperature"),
        **clock: Any,
    ) -> None:
        self.folder, self.config, self.journal = folder, folder / "afterfill.toml", folder / "j.db"
        self.water, self.disk = Water(), folder / "disk"
        self._said: list[bytes] = []  # by a pipe: a full disk must not silence the log
        self._listener: threading.Thread | None = None
        self.port = PtyPort(device or LineDevice(self.water), folder / "probe")
        begin = {"wall_s": round(time.time(), 3), "real_s": time.monotonic(), "speed": speed}
        self.options = Options(disk=str(self.disk), **(begin | clock))
        self.process: subprocess.Popen[bytes] | None = None
        folder.mkdir(parents=True, exist_ok=True)
        tables = [
            _PROBE.format(quantity=q, port=self.port.link, every_s=every_s, pattern=PATTERN)
            for q in quantities
        ]
        journal = f'[journal]\npath = "j.db"\ncommit_every_s = {commit_every_s}\n'
        tank = (
            '[tank.t]\nlitres = 100\n[neutraliser.n]\nagent = "thiosulfate"\nmg_cl2_per_ml = 40\n'
        )
        self.config.write_text("".join([tank, *tables, journal, extra]))

    def __enter__(self) -> Self:
        self.port.plug()
        return self

    def __exit__(self, *_: object) -> None:
        self.kill()
        self.port.unplug()

    # --- the process -------------------------------------------------------------------------

    def start(self, **environment: str) -> Self:
        """Start it; what it says is added to what it said before."""
        command = [sys.executable, str(TESTS / "system" / "service_under_test.py")]
        command += [json.dumps(asdict(self.options)), "run", "--config", str(self.config)]
        paths = os.pathsep.join([str(TESTS), os.environ.get("PYTHONPATH", "")]).rstrip(os.pathsep)
        self.process = subprocess.Popen(
            command, stderr=subprocess.PIPE, env={**os.environ, "PYTHONPATH": paths, **environment}
        )
        assert self.process.stderr is not None
        self._listener = threading.Thread(target=self._listen, args=(self.process.stderr,))
        self._listener.start()
        return self

    def _listen(self, log: IO[bytes]) -> None:
        with log:
            self._said.extend(log)

    def _gone(self) -> None:
        if self._listener is not None:
            self._listener.join(WITHIN_S)
        self.process = None

    def kill(self) -> None:
        """End it as a power cut of the process: no signal reaches it."""
        if self.process is not None:
            self.process.kill()
            self.process.wait(WITHIN_S)
            self._gone()

    def stop(self) -> tuple[int, float]:
        """Ask it to end; its exit code, and how long that took [s]."""
        assert self.process is not None
        began_s = time.monotonic()
        self.process.send_signal(signal.SIGTERM)
        return self.ended(), time.monotonic() - began_s

    def ended(self) -> int:
        """Wait for its end; the exit code."""
        assert self.process is not None
        code = self.process.wait(WITHIN_S)
        self._gone()
        return code

    @property
    def pid(self) -> int:
        assert self.process is not None
        return self.process.pid

    # --- what it says and keeps --------------------------------------------------------------

    def said(self) -> str:
        """All of its log, over all its runs."""
        return b"".join(self._said).decode(errors="replace")

    def entries(self, *kinds: str, after: int = 0) -> list[Entry]:
        """What the journal holds of these kinds (all when none is named), numbered over `after`."""
        if not self.journal.exists():
            return []
        with Journal.open(self.journal, read_only=True) as journal:
            return journal.entries(after=after, kinds=kinds or None, limit=10**7)

    def records(self, *kinds: str) -> list[Any]:
        """The records of `entries`."""
        return [entry.record for entry in self.entries(*kinds)]

    def wait_for(self, what: Callable[[], object], say: str, within_s: float = WITHIN_S) -> None:
        """Until `what()`; fails with the log's end otherwise."""
        try:
            wait_until(what, say, within_s)
        except AssertionError as error:
            raise AssertionError(f"{error}\n{self.said()[-3000:]}") from error

    def wait_for_said(self, words: str, times: int = 1) -> None:
        """Until its log has said `words` so often."""
        self.wait_for(lambda: self.said().count(words) >= times, f"'{words}' in the log")

    def wait_for_readings(self, more: int = 3) -> None:
        """Until so many more readings are committed."""
        before = len(self.entries("reading"))
        self.wait_for(lambda: len(self.entries("reading")) >= before + more, "readings come")

    def alarms(self, alarm: str) -> list[tuple[str, bool]]:
        """(state, active) of each change of one alarm."""
        changes = self.records("alarm")
        return [(change.state, change.active) for change in changes if change.alarm == alarm]

    # --- what its user does ------------------------------------------------------------------

    def command(self, *words: str) -> "subprocess.CompletedProcess[str]":
        """A command of afterfill with this configuration."""
        return subprocess.run(
            [*COMMAND, *words, "--config", str(self.config)],
            capture_output=True, text=True, timeout=60, check=False,
        )  # fmt: skip

    def dose(self, ml: float) -> bool:
        """Log a dose of `ml`; whether it was acknowledged."""
        return self.command("log", "dose", "--neutraliser-ml", f"{ml:g}").returncode == 0
