"""Every folder under transcripts/ is one case: adding a bug is adding a folder."""

from pathlib import Path

import pytest

from afterfill.simulation.pty_port import PtyPort
from transcript_sessions import (
    ScriptedDevice,
    expected,
    port_of,
    readings,
    wait_until_waiting,
)

ROOT = Path(__file__).parent / "transcripts"
CASES = sorted(path.parent for path in ROOT.glob("*/*/session.txt"))


@pytest.mark.parametrize("folder", CASES, ids=lambda path: f"{path.parent.name}-{path.name}")
def test_session_gives_the_expected_samples(folder: Path, tmp_path: Path) -> None:
    device = ScriptedDevice()
    steps, wanted = readings(folder / "session.txt"), expected(folder)
    assert len(steps) == len(wanted)
    with PtyPort(device, tmp_path / "probe") as pty:
        port = port_of(folder, str(pty.link))
        port.open()
        for block, samples in zip(steps, wanted, strict=True):
            early = device.begin(block)
            if early:
                pty.send(early)
                wait_until_waiting(pty.link, len(early))
            found = port.read([name for name, _, _ in samples])
            assert [(s.probe, s.invalid) for s in found] == [(n, why) for n, _, why in samples]
            assert [s.value for s in found] == [pytest.approx(v) for _, v, _ in samples]
            assert device.heard == [data for way, data in block if way == ">"]
        port.close()


@pytest.mark.parametrize(("proto", "least"), [("line", 8), ("modbus", 6)])
def test_there_are_cases_for_every_serial_protocol(proto: str, least: int) -> None:
    assert len([case for case in CASES if case.parent.name == proto]) >= least
