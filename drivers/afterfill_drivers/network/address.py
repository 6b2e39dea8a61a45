"""Addresses that stand where a serial port's path may stand."""

from collections.abc import Sequence
from typing import NamedTuple
from urllib.parse import SplitResult, urlsplit

from afterfill.errors import ConfigError

MODBUS_TCP_PORT = 502  # registered for Modbus; from memory
_MEANING = {
    "socket": "socket://HOST:PORT (a bridge that hands bytes on)",
    "rfc2217": "rfc2217://HOST:PORT (a bridge that also sets the line's speed)",
    "tcp": "tcp://HOST:PORT (a device or gateway that speaks Modbus TCP)",
}


class Address(NamedTuple):
    """Where to connect to; `device` is how the configuration writes it."""

    device: str
    scheme: str
    host: str
    port: int


def address_of(device: str, schemes: Sequence[str]) -> Address | None:
    """The address that `device` is, None for the path of a serial port.

    Raises ConfigError for any other scheme than `schemes`, or an address that lacks a part.
    """
    if "://" not in device:
        return None
    try:
        parts = urlsplit(device)
        port = parts.port
    except ValueError as error:
        raise ConfigError(f"port {device}: is no address ({error})") from error
    if parts.scheme not in schemes:
        known = ", ".join(_MEANING[scheme] for scheme in schemes) or "a path"
        raise ConfigError(f"port {device}: this driver does not know '{parts.scheme}'; use {known}")
    if port is None and parts.scheme == "tcp":
        port = MODBUS_TCP_PORT
    if not parts.hostname or not port or _has_more(parts):
        raise ConfigError(
            f"port {device}: write {parts.scheme}://HOST:PORT and nothing else; an IPv6 address "
            "stands in brackets, [::1]"
        )
    return Address(device, parts.scheme, parts.hostname, port)


def _has_more(parts: SplitResult) -> bool:
    return bool(parts.path or parts.query or parts.fragment or "@" in parts.netloc)
