"""`check`, `probe` and `setup` with probes in the network: their words, and who holds them."""

import socket
import time
import tomllib
from pathlib import Path

import pytest

from afterfill.simulation.line_device import LineDevice
from bridges import HOST, Bridge
from cli_room import (
    MEASURED,
    NAMES,
    afterfill,
    line_probe,
    line_probes,
    lines_of,
    record,
    running,
    write_config,
)
from cli_room import reading as recorded
from modbus_server import ModbusServer
from servers import free_port

each_scheme = pytest.mark.parametrize("scheme", ["socket", "rfc2217"])


def bus(quantity: str, port: int, register: int, scale: float) -> str:
    return (
        f'[[probe]]\ntank = "window"\nquantity = "{quantity}"\ndriver = "modbus"\n'
        f'port = "tcp://{HOST}:{port}"\ndevice = 1\nregister = {register}\nscale = {scale}\n'
    )


@each_scheme
def test_probes_behind_a_bridge_are_checked_read_and_listed(scheme: str, tmp_path: Path) -> None:
    with Bridge(LineDevice(lambda: MEASURED), scheme) as bridge:
        config = str(write_config(tmp_path, probes=line_probes(bridge.address)))
        read = afterfill("probe", "read", "--config", config)
        checked = afterfill("check", "--config", config)
        listed = afterfill("probe", "list", "--config", config, "--json")
    assert read.stdout == "window-temperature  24.81 °C\nwindow-ph  pH 7.21\nwindow-orp  412.3 mV\n"
    said = f"ok       port {bridge.address}: connected (driver line); let no other machine read"
    assert said in checked.stdout
    assert [row["port"] for row in lines_of(listed)] == [bridge.address] * 3


def test_probes_over_modbus_tcp_are_checked_and_read(tmp_path: Path) -> None:
    with ModbusServer([4123, 721]) as server:
        probes = bus("orp", server.port, 0, 0.1) + bus("ph", server.port, 1, 0.01)
        config = str(write_config(tmp_path, probes=probes))
        assert afterfill("probe", "read", "--config", config).stdout == (
            "window-ph  pH 7.21\nwindow-orp  412.3 mV\n"
        )
        assert "connected (driver modbus)" in afterfill("check", "--config", config).stdout


@pytest.mark.parametrize("scheme", ["socket", "rfc2217", "tcp"])
def test_a_bridge_that_is_away_is_told_without_a_word_of_rights(
    scheme: str, tmp_path: Path
) -> None:
    number = free_port()
    probes = bus("orp", number, 0, 1) if scheme == "tcp" else ""
    probes = probes or line_probe("orp", f"{scheme}://{HOST}:{number}")
    config = str(write_config(tmp_path, probes=probes))
    read = afterfill("probe", "read", "--config", config)
    checked = afterfill("check", "--config", config)
    assert (read.exit_code, checked.exit_code) == (3, 1)
    assert read.stderr.startswith(f"afterfill: port {scheme}://{HOST}:{number} refuses the conn")
    assert f"fault    port {scheme}://{HOST}:{number}: refuses the connection" in checked.stdout
    assert "dialout" not in checked.stdout + read.stderr


def test_while_the_service_is_connected_its_last_value_is_shown(tmp_path: Path) -> None:
    """A second connection would make the bridge mix the answers up."""
    from afterfill.config_file import load
    from afterfill.service.driver_registry import open_port, ports_of

    with Bridge(LineDevice(lambda: MEASURED)) as bridge:
        path = write_config(tmp_path, probes=line_probe("orp", bridge.address))
        record(tmp_path, recorded(time.time() - 8, value=399.9))
        service = open_port(ports_of(load(path))[0])
        service.open()
        with running(tmp_path):
            shown = afterfill("probe", "read", "--config", str(path))
            checked = afterfill("check", "--config", str(path))
        service.close()
        assert bridge.accepted == 1
    assert shown.stdout.startswith("window-orp  399.9 mV  (recorded ")
    assert (
        f"ok       port {bridge.address}: held, it seems by the running service" in checked.stdout
    )


def test_a_password_in_an_address_is_refused_and_not_repeated(tmp_path: Path) -> None:
    probe = line_probe("orp", "socket://me:secretword@h:1")
    refused = afterfill("check", "--config", str(write_config(tmp_path, probes=probe)))
    assert refused.exit_code == 2
    assert "secretword" not in refused.stdout + refused.stderr


@pytest.mark.parametrize("scheme", ["socket", "rfc2217"])
def test_setup_writes_what_the_bridge_can_be_told(scheme: str, tmp_path: Path) -> None:
    path = tmp_path / "afterfill.toml"
    address = f"{scheme}://bridge.example:4001"
    ports = [word for name in NAMES for word in (f"--{name}-port", address)]
    done = afterfill("setup", "--config", str(path), "--yes", *ports, "--set", "orp.request=R")
    assert done.exit_code == 2, "one port: all are asked, or none"
    sets = [word for name in NAMES for word in ("--set", f'{name}.request="R\\r"')]
    done = afterfill("setup", "--config", str(path), "--yes", *ports, *sets)
    assert done.exit_code == 0
    text = path.read_text()
    assert ("# baud = 9600" in text) == (scheme == "rfc2217")
    assert "in the network: socket://HOST:PORT" in done.stdout
    with_all = text.replace("# timeout_s", "timeout_s").replace("# parity", "parity")
    assert [probe["port"] for probe in tomllib.loads(with_all)["probe"]] == [address] * 3


def test_a_host_of_ipv6_is_an_address_too(tmp_path: Path) -> None:
    with Bridge(LineDevice(lambda: MEASURED), host="::1") as bridge:
        assert bridge.address.startswith("socket://[::1]:")
        config = str(write_config(tmp_path, probes=line_probe("orp", bridge.address)))
        assert afterfill("probe", "read", "--config", config).stdout == "window-orp  412.3 mV\n"
    assert socket.has_ipv6
