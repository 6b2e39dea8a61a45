"""Sends one message by apprise and ends: the process that `push.py` starts.

Standard input holds the order as JSON: `address`, and a `message` unless the address is only to be
examined. Exit 0 when it was done; else 1, and one clause on standard output that says why.
"""

import json
import logging
import sys
from io import StringIO
from typing import Any

from afterfill.shown import parts_of, shown, without_secrets


def main() -> int:
    """Carry out the order; returns the exit code."""
    order = json.load(sys.stdin)
    import apprise

    said = _listened(apprise)
    service = apprise.Apprise.instantiate(order["address"])
    if service is None:
        print(
            "is no address that apprise knows; its documentation lists the services and how each "
            "is written"
        )
        return 1
    if "message" not in order or _sent(apprise, service, order["message"]):
        return 0
    reason = _reason(said.getvalue(), service, order["address"])
    print(f"did not take the message ({reason}); check the address, and whether it can be reached")
    return 1


def _listened(apprise: Any) -> StringIO:  # noqa: ANN401 - untyped
    """What the library logs from now on, its only way to give a reason. Its words may hold the
    address, so they go nowhere else."""
    said = StringIO()
    handler = logging.StreamHandler(said)
    handler.setLevel(logging.WARNING)
    apprise.logger.addHandler(handler)
    apprise.logger.propagate = False
    return said


def _sent(apprise: Any, service: Any, message: dict[str, Any]) -> bool:  # noqa: ANN401 - untyped
    courier = apprise.Apprise()
    courier.add(service)
    urgent, calm = apprise.NotifyType.FAILURE, apprise.NotifyType.INFO
    done = courier.notify(
        body=message["text"],
        title=message["subject"],
        notify_type=urgent if message["urgent"] else calm,
        attach=message["picture"],
    )
    return bool(done)


def _reason(log: str, service: Any, address: str) -> str:  # noqa: ANN401 - untyped
    """The library's last words, without the parts of the address that may be secret."""
    lines = [line.strip() for line in log.splitlines() if line.strip()]
    words = lines[-1] if lines else "no reason given"
    named = [getattr(service, name, None) for name in ("password", "user", "fullpath", "targets")]
    host = getattr(service, "host", None)
    secrets = [part for part in parts_of(address) if part != host]
    secrets += [part for part in named if isinstance(part, str) and len(part) > 3]
    return shown(without_secrets(words, secrets), 200)


if __name__ == "__main__":
    sys.exit(main())
