"""From a raw refill in a tank to the keeper's mailbox, by the real service on a serial line."""

import math
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from afterfill.config_file import load
from afterfill.records import Quantity, Reading, Refill, Stamp
from afterfill.service.recorder import Recorder
from afterfill.simulation.line_device import PATTERN, LineDevice
from afterfill.simulation.pty_port import PtyPort
from notify_peers import Mailbox, pictures_of_mail, text_of_mail
from servers import wait_until

pytestmark = pytest.mark.system
COMMAND = [sys.executable, "-m", "afterfill.cli.main"]
QUIET_S = 3 * 3600.0  # of readings before the refill: the service knows the tank
BEFORE_S = 55.0  # of the refill have passed when the service is started again
RESTING: dict[Quantity, float] = {"orp": 310.0, "ph": 7.4, "temperature": 24.0}
CONFIG = """
[tank.window]
litres = 100
[source.tap]
disinfectant = "chlorine"
residual_mg_l = 2.0
[journal]
path = "j.db"
commit_every_s = 0.5
[[notify]]
verdicts = true
[notify.smtp]
host = "localhost"
port = {port}
from = "afterfill@example.org"
to = "keeper@example.org"
starttls = false
"""
PROBE = """
[[probe]]
tank = "window"
quantity = "{quantity}"
driver = "line"
port = "{folder}/head"
every_s = 0.5
request = "R\\r"
pattern = '{pattern}'
"""


class Tank:
    """Its ORP rises like that of a tank with free chlorine from `poured_s` [Unix s] on."""

    def __init__(self, poured_s: float) -> None:
        self._poured_s = poured_s
        self._noise = random.Random(7)

    def values(self, time_s: float | None = None) -> dict[Quantity, float]:
        since_s = max((time.time() if time_s is None else time_s) - self._poured_s, 0.0)
        risen_mv = 160.0 * (1.0 - math.exp(-since_s / 60.0))
        return {**RESTING, "orp": RESTING["orp"] + risen_mv + self._noise.gauss(0.0, 0.3)}


def beforehand(config: Path, journal: Path, tank: Tank, poured_s: float) -> None:
    """What the service has recorded of quiet hours and of the beginning of the refill, before it
    was stopped."""
    recorder = Recorder(load(config), journal)
    times = [*range(-int(QUIET_S), 0, 10), *range(int(BEFORE_S))]
    for since_s in times:
        stamp = Stamp(poured_s + since_s, True, "before", QUIET_S + since_s)
        if since_s == 0:
            raw = Refill(poured_s, "window", "replace", 50.0, 1.0, neutraliser_ml=0.0)
            recorder.journal.submit(raw, stamp)
        recorder.inbox(stamp)
        shown = tank.values(stamp.time_s)
        recorder.readings(
            [Reading(0.0, "window", q, round(v, 1), f"window-{q}") for q, v in shown.items()], stamp
        )
    recorder.close(stamp)


def test_a_raw_refill_reaches_the_keeper_with_what_to_do_and_a_picture(tmp_path: Path) -> None:
    config = tmp_path / "afterfill.toml"
    with Mailbox() as box:
        probes = [PROBE.format(quantity=q, folder=tmp_path, pattern=PATTERN) for q in RESTING]
        config.write_text(CONFIG.format(port=box.port) + "".join(probes))
        poured_s = round(time.time() - BEFORE_S)
        tank = Tank(poured_s)
        beforehand(config, tmp_path / "j.db", tank, poured_s)
        with PtyPort(LineDevice(tank.values), tmp_path / "head"):
            service = subprocess.Popen([*COMMAND, "run", "--config", str(config)])
            try:
                wait_until(lambda: box.mails, "the mail", 90.0)
            finally:
                service.send_signal(signal.SIGTERM)
                assert service.wait(20) == 0
    mail = box.mails[0]
    assert mail["To"] == "keeper@example.org"
    assert "HIGH" in mail["Subject"]
    assert "window: disinfectant in the water" in mail["Subject"]
    text = text_of_mail(mail)
    for needed in (
        "Alarm residual-oxidant, priority high, unacknowledged.",
        "Do first: stop the refill.",
        "Do not: add raw water",
        "How sure: residual oxidant ",
        "90 % interval",
        "over it with probability ",
        "afterfill log kit --total-chlorine",
        "ask one",
    ):
        assert needed in text
    (picture,) = pictures_of_mail(mail)
    assert picture.startswith(b"\x89PNG\r\n\x1a\n")
