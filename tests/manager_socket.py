"""A service manager's end of the notify socket."""

import socket
import time
from pathlib import Path


class ManagerSocket:
    """A datagram socket at `name` (a path, or an abstract name that begins with @)."""

    def __init__(self, name: str) -> None:
        self.name = name
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.bind("\0" + name[1:] if name.startswith("@") else name)
        self.heard: list[tuple[float, dict[str, str]]] = []

    @classmethod
    def in_folder(cls, folder: Path) -> "ManagerSocket":
        """At a path in `folder`."""
        return cls(str(folder / "notify"))

    def __enter__(self) -> "ManagerSocket":
        return self

    def __exit__(self, *_: object) -> None:
        self._socket.close()

    def listen(self, key: str, within_s: float) -> dict[str, str] | None:
        """The next message that says `key`, None when there is none `within_s` [s]."""
        end_s = time.monotonic() + within_s
        while (left_s := end_s - time.monotonic()) > 0:
            self._socket.settimeout(left_s)
            try:
                data = self._socket.recv(4096)
            except TimeoutError:
                return None
            said = dict(line.split("=", 1) for line in data.decode().splitlines())
            self.heard.append((time.monotonic(), said))
            if key in said:
                return said
        return None

    def nothing_within(self, key: str, within_s: float) -> bool:
        """Whether no one says `key` for `within_s` [s]."""
        return self.listen(key, within_s) is None
