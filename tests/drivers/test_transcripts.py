"""Every folder under transcripts/ is one case: adding a bug is adding a folder."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from afterfill.simulation.pty_port import PtyPort, Responder
from bridges import Bridge
from transcript_sessions import (
    ScriptedDevice,
    expected,
    port_of,
    readings,
    wait_until_waiting,
)

ROOT = Path(__file__).parent / "transcripts"
CASES = sorted(path.parent for path in ROOT.glob("*/*/session.txt"))


Say = Callable[[bytes], None]


@contextmanager
def over_pty(device: Responder, folder: Path) -> Iterator[tuple[str, Say]]:
    with PtyPort(device, folder / "probe") as pty:

        def say(data: bytes) -> None:
            pty.send(data)
            wait_until_waiting(pty.link, len(data))

        yield str(pty.link), say


@contextmanager
def over_network(device: Responder, scheme: str) -> Iterator[tuple[str, Say]]:
    with Bridge(device, scheme) as bridge:

        def say(data: bytes) -> None:
            bridge.send(data)
            bridge.wait_until_sent()

        yield bridge.address, say


@pytest.mark.parametrize("way", ["pty", "socket", "rfc2217"])
@pytest.mark.parametrize("folder", CASES, ids=lambda path: f"{path.parent.name}-{path.name}")
def test_session_gives_the_expected_samples(folder: Path, way: str, tmp_path: Path) -> None:
    device = ScriptedDevice()
    steps, wanted = readings(folder / "session.txt"), expected(folder)
    assert len(steps) == len(wanted)
    reached = over_pty(device, tmp_path) if way == "pty" else over_network(device, way)
    with reached as (device_path, say):
        port = port_of(folder, device_path)
        port.open()
        for block, samples in zip(steps, wanted, strict=True):
            early = device.begin(block)
            if early:
                say(early)
            found = port.read([name for name, _, _ in samples])
            assert [(s.probe, s.invalid) for s in found] == [(n, why) for n, _, why in samples]
            assert [s.value for s in found] == [pytest.approx(v) for _, v, _ in samples]
            assert device.heard == [data for sign, data in block if sign == ">"]
        port.close()


@pytest.mark.parametrize(("proto", "least"), [("line", 8), ("modbus", 6)])
def test_there_are_cases_for_every_serial_protocol(proto: str, least: int) -> None:
    assert len([case for case in CASES if case.parent.name == proto]) >= least
