"""A probe port that is open for a while."""

from collections.abc import Iterator
from contextlib import contextmanager

from afterfill.ports import ProbePort


@contextmanager
def opened(port: ProbePort) -> Iterator[ProbePort]:
    port.open()
    try:
        yield port
    finally:
        port.close()
