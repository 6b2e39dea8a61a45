"""Which serial ports and 1-wire buses this machine has, stable names first."""

from pathlib import Path

from serial.tools import list_ports

_BY_ID = Path("/dev/serial/by-id")
_ONEWIRE = Path("/sys/bus/w1/devices")


def ports_found() -> list[tuple[str, str]]:
    """(path, what it is). A name under by-id outlives replugging, so it stands for its device."""
    found: list[tuple[str, str]] = []
    named: set[str] = set()
    if _BY_ID.is_dir():
        for link in sorted(_BY_ID.iterdir()):
            named.add(str(link.resolve()))
            found.append((str(link), f"now {link.resolve()}"))
    for port in sorted(list_ports.comports(), key=lambda p: str(p.device)):
        if port.device not in named:
            found.append((port.device, str(port.description)))
    if _ONEWIRE.is_dir():
        found.append((str(_ONEWIRE), "the 1-wire bus"))
    return found
