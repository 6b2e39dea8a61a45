"""Probes behind a bridge in the network, and what goes wrong there: over real sockets."""

import os
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

import pytest

from afterfill.errors import ConfigError, DeviceUnavailable
from afterfill.simulation.line_device import LineDevice
from afterfill.simulation.pty_port import PtyPort
from afterfill_drivers.network import socket_port
from afterfill_drivers.network.address import Address
from afterfill_drivers.network.socket_port import CONNECT_S, SocketPort
from bridges import HOST, Bridge, Ser2net
from network_lines import SCHEMES, Water, device_of, each_protocol, each_scheme, one, port_at
from open_port import opened
from servers import free_port
from transcript_sessions import driver, specs

# --- it works, and comes back ------------------------------------------------------------------


@each_protocol
@each_scheme
@pytest.mark.parametrize("host", [HOST, "::1"])
def test_a_probe_behind_a_bridge_is_read(proto: str, scheme: str, host: str) -> None:
    water = Water()
    with (
        Bridge(device_of(proto, water), scheme, host=host) as bridge,
        opened(port_at(bridge.address, proto)) as port,
    ):
        for _ in range(5):
            assert one(port).value == water.orp_mv


@each_protocol
@each_scheme
def test_a_bridge_in_wide_use_is_understood(proto: str, scheme: str, tmp_path: Path) -> None:
    """ser2net onto a pseudo-terminal; it sets the line as we ask where the scheme lets it."""
    water = Water()
    with (
        PtyPort(device_of(proto, water), tmp_path / "tty") as pty,
        Ser2net(tmp_path, scheme, pty.link) as bridge,
    ):
        assert isinstance(bridge, Ser2net)
        with opened(port_at(bridge.address, proto, timeout_s=0.5)) as port:
            values = [one(port).value for _ in range(5)]
            assert values[-1] == water.orp_mv
            assert None not in values
            with socket.create_connection((HOST, bridge.port)) as second:
                second.settimeout(5)  # it refuses a second client, and the first goes on
                assert b"in use" in second.recv(100) or scheme == "rfc2217"
            assert one(port).value == water.orp_mv
        bridge.stop()


@each_protocol
@each_scheme
@pytest.mark.parametrize("reset", [False, True], ids=["closed", "reset"])
def test_a_bridge_that_starts_again_is_a_lost_port_and_works_again(
    proto: str, scheme: str, reset: bool
) -> None:
    water = Water()
    with Bridge(device_of(proto, water), scheme) as bridge:
        port = port_at(bridge.address, proto)
        port.open()
        assert one(port).value is not None
        bridge.drop_clients(reset=reset)
        bridge.unplug()
        with pytest.raises(DeviceUnavailable, match=r"was lost: "):
            one(port)
        with pytest.raises(DeviceUnavailable, match="refuses the connection"):
            port.open()
        bridge.plug()
        port.open()
        assert one(port).value == water.orp_mv
        port.close()
        port.close()


def test_losses_leave_no_descriptors_and_threads_behind() -> None:
    with Bridge(LineDevice(Water()), "rfc2217") as bridge:
        port = port_at(bridge.address, "line")
        before = len(os.listdir("/proc/self/fd")), threading.active_count()
        for _ in range(20):
            port.open()
            bridge.drop_clients()
            with pytest.raises(DeviceUnavailable):
                one(port)
        port.close()
        assert len(os.listdir("/proc/self/fd")) <= before[0]
        assert threading.active_count() == before[1]


# --- it cannot be connected to -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("host", "said"),
    [
        ("no-such-probe.invalid", "is not known by that name"),  # reserved for that: RFC 6761
        ("a..b", "is not known by that name"),
        ("[::1]", "refuses the connection"),
        ("127.0.0.1", "refuses the connection"),
    ],
)
@pytest.mark.parametrize("scheme", ["socket", "rfc2217", "tcp"])
def test_what_cannot_be_connected_to_says_why(host: str, said: str, scheme: str) -> None:
    address = f"{scheme}://{host}:{free_port()}"
    with pytest.raises(DeviceUnavailable, match=said) as caught:
        port_at(address, "modbus").open()
    assert str(caught.value).startswith(f"port {address} ")
    assert "dialout" not in str(caught.value)


@contextmanager
def black_hole() -> Iterator[int]:
    """A port whose queue is full: the kernel answers no further call."""
    with ExitStack() as stack:
        listener = stack.enter_context(socket.socket())
        listener.bind((HOST, 0))
        listener.listen(0)
        for _ in range(3):
            caller = stack.enter_context(socket.socket())
            caller.setblocking(False)
            caller.connect_ex(listener.getsockname())
        yield int(listener.getsockname()[1])


@pytest.mark.parametrize("scheme", ["socket", "rfc2217", "tcp"])
def test_who_never_accepts_is_given_up_in_time(scheme: str) -> None:
    with black_hole() as number:
        port = port_at(f"{scheme}://{HOST}:{number}", "modbus")
        began_s = time.monotonic()
        with pytest.raises(DeviceUnavailable, match="did not answer within 3 s"):
            port.open()
        assert time.monotonic() - began_s < CONNECT_S + 0.5
        port.close()


def test_two_addresses_that_never_accept_do_not_take_twice_as_long(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    with black_hole() as number:
        found = [(socket.AF_INET, socket.SOCK_STREAM, 6, "", (HOST, number))] * 3
        monkeypatch.setattr(socket, "getaddrinfo", lambda *_a, **_k: found)
        began_s = time.monotonic()
        with pytest.raises(DeviceUnavailable):
            SocketPort(Address("socket://x:1", "socket", "x", 1)).open()
        assert time.monotonic() - began_s < CONNECT_S + 0.5


# --- another is there too ----------------------------------------------------------------------


@pytest.mark.parametrize("proto", ["line", "modbus"])
@pytest.mark.parametrize("scheme", SCHEMES)
def test_a_second_afterfill_on_this_machine_is_told_so(proto: str, scheme: str) -> None:
    with Bridge(device_of(proto, Water()), scheme) as bridge:
        with opened(port_at(bridge.address, proto)) as port:
            other = bridge.address.replace(HOST, "localhost")
            with pytest.raises(DeviceUnavailable, match="is held by another program"):
                port_at(other, proto).open()
            assert one(port).value is not None
            assert bridge.accepted == 1, "the second did not even knock"
        with opened(port_at(other, proto)) as second:
            assert one(second).value is not None


def test_a_bridge_that_has_another_client_and_refuses_us_says_so() -> None:
    with Bridge(LineDevice(Water()), begins_with=b"Port already in use\r\n") as bridge:
        port = port_at(bridge.address, "line")
        port.open()
        bridge.wait_until_sent()
        bridge.drop_clients()
        with pytest.raises(DeviceUnavailable, match="is another program connected to it"):
            one(port)
        port.close()


class Chatter(threading.Thread):
    """A client on another machine: asks the same bridge for other things, all the time."""

    def __init__(self, number: int, request: bytes) -> None:
        super().__init__()
        self._socket = socket.create_connection((HOST, number))
        self._request, self.stop = request, threading.Event()

    def run(self) -> None:
        with self._socket as it:
            while not self.stop.wait(0.005):
                it.sendall(self._request)


@each_protocol
def test_anothers_answers_on_the_same_bridge_are_never_ours(proto: str) -> None:
    """The bridge tells each answer to everyone; the other client asks what the probe cannot."""
    water = Water()
    asked = b"X\r" if proto == "line" else bytes.fromhex("07 04 00 63 00 01 c1 b2")
    with (
        Bridge(device_of(proto, water)) as bridge,
        opened(port_at(bridge.address, proto)) as port,
    ):
        chatter = Chatter(int(bridge.address.rpartition(":")[2]), asked)
        chatter.start()
        given = [(water.orp_mv, one(port).value, water.orp_mv) for _ in range(40)]
        chatter.stop.set()
        chatter.join()
    values = [(before, value, after) for before, value, after in given if value is not None]
    assert all(before < value <= after for before, value, after in values), "of now, and of ORP"
    assert values


# --- gone without a word -----------------------------------------------------------------------

_CUT = """
import fcntl, socket, struct, sys, time
def loopback(up):
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as it:
        flags = 0x41 if up else 0x40  # IFF_RUNNING, IFF_UP
        fcntl.ioctl(it, 0x8914, struct.pack("16sh", b"lo", flags))  # SIOCSIFFLAGS
loopback(True)
from afterfill.errors import DeviceUnavailable
from afterfill.simulation.line_device import LineDevice
from afterfill_drivers.network import socket_port
from bridges import Bridge
from network_lines import Water, one, port_at, stream_at
quick = {socket.TCP_KEEPIDLE: 1, socket.TCP_KEEPINTVL: 1, socket.TCP_USER_TIMEOUT: 2000}
socket_port._PROBES.update(quick)
with Bridge(LineDevice(Water())) as bridge:
    port = stream_at(bridge.address) if sys.argv[1] == "stream" else port_at(bridge.address, "line")
    port.open()
    if sys.argv[1] != "stream":
        assert one(port).value is not None
    loopback(False)  # from now on no packet arrives, and no end is told
    began_s = time.monotonic()
    try:
        while time.monotonic() - began_s < 20:
            assert one(port).value is None
    except DeviceUnavailable as lost:
        print(f"lost after {time.monotonic() - began_s:.1f} s: {lost}")
    port.close()
    loopback(True)
    port.open()
    print("value", one(port).value if sys.argv[1] != "stream" else "open again")
    port.close()
"""


@pytest.mark.parametrize("kind", ["asked", "stream"])
def test_a_peer_that_is_gone_without_a_word_is_noticed(kind: str) -> None:
    """In a network of its own, whose only link is cut; the times are shorter than the real ones."""
    alone = ["unshare", "-n"] if os.geteuid() == 0 else ["unshare", "-Urn"]
    done = subprocess.run(
        [*alone, sys.executable, "-c", _CUT, kind],
        capture_output=True, text=True, timeout=60, check=False,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[1])},
    )  # fmt: skip
    assert "lost after " in done.stdout, done.stderr[-2000:]
    assert "was lost: look at the other side's power and network" in done.stdout
    assert "value" in done.stdout.splitlines()[-1]


def test_the_kernel_looks_after_a_silent_peer_within_half_a_minute() -> None:
    with Bridge(LineDevice(Water())) as bridge, opened(port_at(bridge.address, "line")) as port:
        line = port._port._socket  # type: ignore[attr-defined]  # what no reading can show
        found = {it: line.getsockopt(socket.IPPROTO_TCP, it) for it in socket_port._PROBES}
    assert found[socket.TCP_USER_TIMEOUT] <= 10_000
    unheard_s = found[socket.TCP_KEEPINTVL] * found[socket.TCP_KEEPCNT]
    assert found[socket.TCP_KEEPIDLE] + unheard_s <= 30


# --- RFC 2217 ----------------------------------------------------------------------------------


def test_a_plain_bridge_is_told_from_one_that_sets_its_line() -> None:
    with Bridge(LineDevice(Water())) as bridge:
        address = bridge.address.replace("socket", "rfc2217")
        began_s = time.monotonic()
        with pytest.raises(DeviceUnavailable, match="does not speak RFC 2217: write socket://"):
            port_at(address, "line").open()
        assert time.monotonic() - began_s < 5


def test_a_bridge_that_keeps_its_own_speed_is_refused() -> None:
    with Bridge(LineDevice(Water()), "rfc2217", baud=115200) as bridge:
        port = port_at(bridge.address, "line", baud=9600)
        with pytest.raises(DeviceUnavailable, match=r"cannot have the baud .*\(it says 115200\)"):
            port.open()
        with opened(port_at(bridge.address, "line", baud=115200)) as port:
            assert one(port).value is not None


# --- configuration -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("proto", "address", "keys", "said"),
    [
        ("line", "tcp://h:1", {}, "this driver does not know 'tcp'; use socket://HOST:PORT"),
        ("line", "loop://", {}, "does not know 'loop'"),
        ("line", "socket://h", {}, "write socket://HOST:PORT and nothing else"),
        ("line", "socket://h:1/x", {}, "nothing else"),
        ("line", "socket://:1", {}, "nothing else"),
        ("line", "socket://h:99999", {}, "is no address"),
        ("line", "socket://[::1:1", {}, "is no address"),
        ("line", "rfc2217://h:1?logging=debug", {}, "nothing else"),
        ("line", "socket://h:1", {"baud": 9600}, "sets baud, which means nothing there"),
        ("modbus", "tcp://h", {"parity": "E"}, "sets parity, which means nothing there"),
        ("modbus", "socket://h:1", {"stopbits": 2}, "sets stopbits"),
        ("modbus", "socket://h:1", {"device": 255}, "on a line a device has 1 to 247"),
        ("modbus", "/dev/none", {"device": 0}, "on a line a device has 1 to 247"),
    ],
)
def test_an_address_of_no_use_is_one_sentence(
    proto: str, address: str, keys: dict[str, Any], said: str
) -> None:
    with pytest.raises(ConfigError) as caught:
        port_at(address, proto, **keys)
    assert said in str(caught.value)
    assert str(caught.value).startswith(f"port {address}: ")


def test_a_bus_of_the_kernel_is_never_in_the_network() -> None:
    table = {"name": "t", "quantity": "temperature", "sensor": "28-0316a2795d1f"}
    with pytest.raises(ConfigError, match="a folder of this machine's kernel"):
        driver("onewire").port("socket://h:1", specs("onewire", [table]))
