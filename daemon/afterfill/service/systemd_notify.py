"""What the service manager is told: ready, stopping, how it goes, and that the core goes on.

The protocol is a datagram of lines to the socket that $NOTIFY_SOCKET names (sd_notify(3), from
memory).
Without that variable, or when no socket listens, nothing happens: the service runs all the same.
"""

import os
import socket
import threading
from collections.abc import Callable, Mapping

_STATUS_EVERY_S = 30.0  # where no watchdog asks for more
_READY_LOOK_S = 0.1


def say(*lines: str, environment: Mapping[str, str] = os.environ) -> None:
    """Send `lines` (``READY=1``, ``WATCHDOG=1``, ``STATUS=...``) in one message."""
    name = environment.get("NOTIFY_SOCKET", "")
    if not name.startswith(("/", "@")):
        return
    address = "\0" + name[1:] if name.startswith("@") else name  # @: an abstract name
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as out:
            out.settimeout(1.0)
            out.connect(address)  # without it a full queue at the other end is tried in a busy loop
            out.send("\n".join(lines).encode())
    except OSError:  # what started us is gone or does not want to hear
        return


def watchdog_s(environment: Mapping[str, str] = os.environ) -> float | None:
    """After how many seconds of silence this process is ended; None: systemd does not."""
    for_us = environment.get("WATCHDOG_PID") in (None, str(os.getpid()))
    micros = environment.get("WATCHDOG_USEC", "")
    return int(micros) / 1e6 if for_us and micros.isdecimal() and int(micros) > 0 else None


def attend(
    turns: Callable[[], int],
    status: Callable[[], str],
    stop: threading.Event,
    environment: Mapping[str, str] = os.environ,
) -> None:
    """Tell the service manager how it goes until `stop` is set.

    Ready once the core has made its first turn; then a sign of life at half the watchdog's time,
    but only when `turns` has grown since the last: a core that hangs is not covered for.
    """
    silence_s = watchdog_s(environment)
    every_s = _STATUS_EVERY_S if silence_s is None else silence_s / 2.0
    while not turns() and not stop.wait(_READY_LOOK_S):
        pass
    last = turns()
    if last:
        say("READY=1", "WATCHDOG=1", f"STATUS={status()}", environment=environment)
    while not stop.wait(every_s):
        now = turns()
        if now != last:
            say("WATCHDOG=1", f"STATUS={status()}", environment=environment)
        last = now
    say("STOPPING=1", "STATUS=stopping", environment=environment)
