"""What the page needs of this machine before it can serve: packages, a password, an address."""

import errno
import socket
from importlib.util import find_spec

from afterfill.errors import ConfigError, DeviceUnavailable

SHORTEST_PASSWORD = 8
MISSING_PACKAGES = "the page needs more packages: pip install 'afterfill[page]'"
_TO_DO = {
    errno.EADDRINUSE: "another program has this port; end it, or choose another port",
    errno.EADDRNOTAVAIL: "this machine has no such address; `ip address` shows those that it has",
    errno.EACCES: "ports below 1024 are not for this user; choose another one",
}


def has_packages() -> bool:
    """Whether what serves the page is installed here."""
    return find_spec("uvicorn") is not None and find_spec("starlette") is not None


def long_enough(text: str) -> str:
    """The password in a file's content; a line end after it is none of it. Raises ConfigError."""
    plain = text.rstrip("\r\n")
    if len(plain) < SHORTEST_PASSWORD:
        raise ConfigError(
            f"the page's password has {len(plain)} characters: write {SHORTEST_PASSWORD} or more "
            "into the file that password_file names"
        )
    return plain


def split(listen: str) -> tuple[str, int]:
    """Address, without brackets, and port of a checked `listen`."""
    address, _, port = listen.rpartition(":")
    return address.strip("[]"), int(port)


def bound(listen: str) -> socket.socket:
    """A socket on that address and no other; nothing listens yet. Raises DeviceUnavailable."""
    address, port = split(listen)
    made = socket.socket(socket.AF_INET6 if ":" in address else socket.AF_INET)
    made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        made.bind((address, port))
    except OSError as error:
        made.close()
        raise DeviceUnavailable(
            f"the page cannot listen on {listen}: {_TO_DO.get(error.errno or 0, error.strerror)}"
        ) from error
    return made
