"""What is said of the present: by a clock that was wrong, of a service that is dead, beside a port
that is silent."""

import time
from pathlib import Path
from typing import Any

from afterfill.service.clock import boot_id
from afterfill.simulation.pty_port import PtyPort
from system.fault_row import Row, told
from system.live_service import LiveService

_YEAR_S = 365 * 86400.0
_MOMENT_S = 2.0
_PACE_S = 20.0
_LEAD_S = 0.1  # some grid steps, and the time in which the journal is read
SILENT_PROBE = """
[[probe]]
tank = "t"
quantity = "temperature"
driver = "line"
port = "{port}"
every_s = 1
timeout_s = 1.5
request = "R\\r"
pattern = 'T=(?P<temperature>-?[\\d.]+)'
"""


class Silent:
    """A device that never answers."""

    def answer(self, received: bytes) -> bytes:
        """Nothing."""
        del received
        return b""


def here(**more: object) -> dict[str, Any]:
    """Options of a service that shares this machine's boot and monotonic clock."""
    now_s = time.monotonic()
    return {"boot_id": boot_id(), "monotonic_s": now_s, "real_s": now_s, **more}


def clock_ahead(times: int, folder: Path) -> Row:
    """A year ahead for a moment, and back: what was written stays dated so."""
    said = lost = 0
    for number in range(times):
        begin_s = time.monotonic()
        jumps = ((begin_s + 1.0, _YEAR_S), (begin_s + 1.0 + _MOMENT_S, -_YEAR_S))
        with LiveService(folder / str(number), **here(jumps=jumps)) as service:
            service.start()
            service.wait_for_said("set back by")
            service.wait_for_said("dated 3153")
            service.wait_for_readings(6)
            running = service.command("now").stdout
            service.stop()
            stopped, checked = service.command("now"), service.command("check").stdout
            lost += "safe as far" in stopped.stdout or stopped.returncode != 1
        said += (
            "ahead of this machine's clock" in running
            and "the service is not running" in stopped.stdout
            and "service: not running" in checked
            and "ahead of this machine's clock" in checked
        )
    how = "the clock is a year ahead for two seconds; the service is asked, then stopped and asked"
    return Row("clock ahead", how, times, lost, 0, told(("log, `now`, `check`", said == times)))


def dead_service(times: int, folder: Path) -> Row:
    """Killed, and asked at once: its newest readings are seconds old."""
    said = lost = 0
    with LiveService(folder, **here()) as service:
        for _ in range(times):
            service.start()
            service.wait_for_readings(4)
            service.kill()
            now, checked = service.command("now"), service.command("check").stdout
            logged = service.command("log", "service", "--what", "feeding").stdout
            lost += "safe as far" in now.stdout
            said += (
                (now.returncode, "the service is not running" in now.stdout) == (1, True)
                and "service: not running" in checked
                and "will be taken up when the service runs" in logged
            )
    how = "SIGKILL while it reads, then `now`, `check` and `log` at once"
    return Row("dead service", how, times, lost, 0, told(("all three say so", said == times)))


def unlike_ports(times: int, folder: Path) -> Row:
    """A port at 1 Hz beside one that is silent, each read taking a second and a half."""
    ahead = 0
    folder.mkdir(parents=True)
    with PtyPort(Silent(), folder / "silent") as silent:
        extra = SILENT_PROBE.format(port=silent.link)
        two = ("orp", "ph")
        with LiveService(folder, every_s=1.0, extra=extra, quantities=two, **here()) as service:
            service.start()
            service.wait_for_readings(4)
            begin_s = time.monotonic()
            for number in range(times):
                while time.monotonic() < begin_s + _PACE_S * (number + 1) / max(times, 1):
                    time.sleep(0.2)
                newest_s = max(r.time_s for r in service.records("reading", "tick"))
                ahead += newest_s > time.time() + _LEAD_S
            service.stop()
            entries = service.entries("reading", "tick")
    leads = [e.record.time_s - e.stamp.time_s for e in entries]
    how = f"looked at the newest record; none was dated later than {max(leads):.3f} s after it came"
    kept = ("nothing to tell: dates are right", max(leads) < _LEAD_S)
    return Row("two ports of unlike pace", how, times, ahead, 0, told(kept))
