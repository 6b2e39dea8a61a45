"""1-wire sensors over a folder like the kernel's."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from afterfill.errors import ConfigError, DeviceUnavailable
from afterfill.ports import ProbePort, Sample
from afterfill_drivers.onewire.frames import from_temperature, from_w1_slave
from transcript_sessions import driver, specs

SENSOR = "28-0316a2795d1f"
YES = b"8c 01 4b 46 7f ff 0c 10 5e : crc=5e YES\n8c 01 4b 46 7f ff 0c 10 5e t=%d\n"
NO = YES.replace(b"YES", b"NO")


def port_on(bus: Path, quantity: str = "temperature") -> ProbePort:
    table = {"name": "water", "quantity": quantity, "sensor": SENSOR}
    return driver("onewire").port(str(bus), specs("onewire", [table]))


def read(bus: Path, files: dict[str, bytes]) -> Sample:
    folder = bus / SENSOR
    folder.mkdir(exist_ok=True)
    for name, content in files.items():
        (folder / name).write_bytes(content)
    port = port_on(bus)
    port.open()
    (sample,) = port.read(["water"])
    port.close()
    return sample


@pytest.mark.parametrize(
    ("files", "value", "reason"),
    [
        ({"temperature": b"24812\n"}, 24.812, None),
        ({"temperature": b"-1250\n"}, -1.25, None),
        ({"temperature": b"24812\n", "w1_slave": YES % 20000}, 24.812, None),
        ({"w1_slave": YES % 24750}, 24.75, None),
        ({"w1_slave": NO % 24750}, None, "bad-checksum"),
        ({"w1_slave": (YES % 24750)[:60]}, None, "incomplete"),
        ({"w1_slave": b"nonsense"}, None, "garbled"),
        ({"w1_slave": b""}, None, "no-answer"),
        ({"temperature": b"85000\n"}, None, "power-up-value"),
        ({"w1_slave": YES % 85000}, None, "power-up-value"),
        ({"temperature": b"-127000\n"}, None, "out-of-range"),
        ({"temperature": b""}, None, "no-answer"),
        ({"temperature": b"2x\n"}, None, "garbled"),
        ({}, None, "no-answer"),
    ],
)
def test_each_content_has_its_meaning(
    tmp_path: Path, files: dict[str, bytes], value: float | None, reason: str | None
) -> None:
    sample = read(tmp_path, files)
    assert (sample.value, sample.invalid) == (value, reason)


def test_sensor_that_comes_back_is_read_again(tmp_path: Path) -> None:
    assert read(tmp_path, {}).invalid == "no-answer"
    assert read(tmp_path, {"temperature": b"24000\n"}).value == 24.0


def test_missing_bus_is_a_lost_port(tmp_path: Path) -> None:
    port = port_on(tmp_path / "absent")
    with pytest.raises(DeviceUnavailable, match="enable 1-wire"):
        port.open()
    with pytest.raises(DeviceUnavailable):
        port.read(["water"])


def test_only_temperature_can_be_measured(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match="measures ph"):
        port_on(tmp_path, "ph")


@given(st.binary(max_size=300))
def test_any_content_is_a_value_or_a_reason(content: bytes) -> None:
    for found in (from_temperature(content), from_w1_slave(content)):
        assert (found.temperature_c is None) == (found.invalid is not None)
