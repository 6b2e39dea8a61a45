"""Guided routines while the service runs: at the probe's own pace, and taken for what they are."""

import os
import signal
import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, closing
from pathlib import Path
from typing import IO, Any

import pytest

from afterfill.records import Quantity
from afterfill.service.clock import boot_id
from afterfill.simulation.line_device import LineDevice
from notify_peers import Mailbox
from system.live_service import COMMAND, LiveService

pytestmark = pytest.mark.system
SOURCE = '[source.tap]\ndisinfectant = "chlorine"\nresidual_mg_l = 1.5\n'
MAIL = """
[[notify]]
at_least = "low"
[notify.smtp]
host = "127.0.0.1"
port = {port}
starttls = false
from = "a@example.org"
to = "b@example.org"
"""


class Hand:
    """The tank's water, but for the probe that is held in a cup."""

    def __init__(self) -> None:
        self.cup: dict[str, float] = {}
        self._asked = 0

    def __call__(self) -> dict[Quantity, float]:
        self._asked += 1
        ripple = (self._asked % 7) / 10
        tank: dict[Quantity, float] = {"orp": 312.0 + ripple, "ph": 7.3, "temperature": 24.5}
        return {quantity: self.cup.get(quantity, shown) for quantity, shown in tank.items()}


class Routine:
    """One of the commands in a process of its own; it is answered as a keeper would."""

    def __init__(self, service: LiveService, hand: Hand, *words: str) -> None:
        self._hand = hand
        self._said = ""
        self.process = subprocess.Popen(
            [*COMMAND, "probe", *words, "--config", str(service.config)],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        assert self.process.stderr is not None
        self._listener = threading.Thread(target=self._listen, args=(self.process.stderr,))
        self._listener.start()

    def _listen(self, stream: IO[str]) -> None:
        while letter := stream.read(1):
            self._said += letter

    def said(self) -> str:
        return self._said

    def dip(self, service: LiveService, asked: str, **cup: float) -> None:
        """Once it asks so: hold the probe in the cup (none: back in the tank) and press Enter."""
        service.wait_for(lambda: asked in self._said, f"'{asked}' is asked; {self._said}", 90.0)
        self._hand.cup = cup
        time.sleep(0.3)  # a hand is slower than a line: what is on its way comes before Enter
        assert self.process.stdin is not None
        self.process.stdin.write("\n")
        self.process.stdin.flush()

    def ended(self) -> tuple[int, str]:
        code = self.process.wait(90.0)
        assert self.process.stdout is not None
        result = self.process.stdout.read()
        self.close()
        return code, result

    def close(self) -> None:
        """End it, if it still runs, and let go of it. Safe twice."""
        self.process.kill()
        self.process.wait()
        self._listener.join(5.0)
        for stream in (self.process.stdin, self.process.stdout, self.process.stderr):
            if stream is not None:
                stream.close()


@pytest.fixture
def mailbox() -> Iterator[Mailbox]:
    with Mailbox() as box:
        yield box


def living(folder: Path, box: Mailbox, every_s: float) -> tuple[LiveService, Hand]:
    hand, now_s = Hand(), time.monotonic()
    machine: dict[str, Any] = {"boot_id": boot_id(), "monotonic_s": now_s, "real_s": now_s}
    return LiveService(
        folder, every_s=every_s, commit_every_s=60.0, extra=SOURCE + MAIL.format(port=box.port),
        device=LineDevice(hand), **machine,
    ), hand  # fmt: skip


def raised(service: LiveService) -> list[Any]:
    return [change for change in service.records("alarm") if change.state == "unacknowledged"]


@pytest.mark.parametrize("every_s", [1.0, 4.0])
def test_a_ph_probe_is_calibrated_while_the_service_runs(
    tmp_path: Path, mailbox: Mailbox, every_s: float
) -> None:
    service, hand = living(tmp_path, mailbox, every_s)
    with service, ExitStack() as stack:
        service.start().wait_for_said("running")
        service.wait_for(lambda: service.records("tick", "machine-state"), "it begins")
        began_s = time.monotonic()
        routine = stack.enter_context(closing(Routine(
            service, hand, "calibrate", "--quantity", "ph", "--temperature", "25",
            "--still-seconds", "5", "--json",
        )))  # fmt: skip
        routine.dip(service, "buffer 7.00", ph=7.10)
        routine.dip(service, "buffer 4.00", ph=4.16)
        routine.dip(service, "put it back")
        code, result = routine.ended()
        took_s = time.monotonic() - began_s
        assert code == 0, routine.said()
        assert '"slope_share":0.98' in result.replace(" ", "")
        assert '"from":"journal"' in result.replace(" ", "")
        assert took_s < 2 * max(5.0, 3.5 * every_s) + 3 * every_s + 15.0
        lendings = [e.minutes for e in service.records("service")]
        service.wait_for(lambda: len(service.records("service")) == 2, "it is told that it is back")
        assert [e.minutes for e in service.records("service")] == [10.0, 0.0], lendings
        assert raised(service) == []
        assert service.stop()[0] == 0
        in_cups = [r.value for r in service.records("reading") if r.quantity == "ph"]
        assert {7.1, 4.16} <= set(in_cups)  # recorded as they were
    assert mailbox.mails == []


def test_an_orp_probe_teaches_its_response_while_the_service_runs(
    tmp_path: Path, mailbox: Mailbox
) -> None:
    service, hand = living(tmp_path, mailbox, 1.0)
    with service, ExitStack() as stack:
        service.start().wait_for_said("running")
        service.wait_for(lambda: service.records("machine-state"), "it begins")
        routine = stack.enter_context(
            closing(
                Routine(
                    service, hand, "response", "--residual", "1.5", "--still-seconds", "5", "--json"
                )
            )
        )
        routine.dip(service, "CONDITIONED", orp=300.0)
        routine.dip(service, "RAW", orp=430.0)
        routine.dip(service, "put it back")
        code, result = routine.ended()
        assert code == 0, routine.said()
        assert '"step_mv":130.0' in result.replace(" ", "")
        service.wait_for(lambda: len(service.records("service")) == 3, "it is told all")
        (check,) = service.records("response-check")
        assert (check.step_mv, check.measured) == (130.0, True)
        assert service.records("refill-seen") == []
        assert raised(service) == []
    assert mailbox.mails == []


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGKILL], ids=["Ctrl-C", "killed"])
def test_a_routine_that_is_broken_off_is_over(tmp_path: Path, mailbox: Mailbox, how: int) -> None:
    service, hand = living(tmp_path, mailbox, 1.0)
    with service, ExitStack() as stack:
        service.start().wait_for_said("running")
        service.wait_for(lambda: service.records("machine-state"), "it begins")
        routine = stack.enter_context(closing(Routine(
            service, hand, "calibrate", "--quantity", "ph", "--temperature", "25",
            "--still-seconds", "60",
        )))  # fmt: skip
        routine.dip(service, "buffer 7.00", ph=7.10)
        service.wait_for(lambda: "pH 7.10" in routine.said(), "it is read")
        service.kill()  # and a restart in the middle
        service.start()
        before = len(service.entries("reading"))
        service.wait_for(lambda: len(service.entries("reading")) > before + 3, "each is recorded")
        os.kill(routine.process.pid, how)
        code, _ = routine.ended()
        if how == signal.SIGINT:
            assert code in (1, 130)
            service.wait_for(lambda: service.records("service")[-1].minutes == 0.0, "it is over")
        else:
            assert [event.minutes for event in service.records("service")] == [10.0]
        assert raised(service) == []
