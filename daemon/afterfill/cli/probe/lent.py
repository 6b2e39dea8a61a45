"""A probe lent by the service: while it is held in cups, nothing is made of its readings."""

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

import typer

from afterfill.cli.console import notice
from afterfill.cli.probe.hold import Held
from afterfill.cli.submission import submitted
from afterfill.cli.times import present_s
from afterfill.errors import AfterfillError, DeviceUnavailable
from afterfill.journal.store import Journal
from afterfill.records import Service

_MINUTES = 10.0  # a routine that is killed blinds the tank for no longer
_RENEW_EVERY_S = 240.0
_LONGEST_S = 2 * 3600.0  # of a routine whose keeper has walked away
_TAKEN_WITHIN_S, _LOOK_EVERY_S = 10.0, 0.05


@contextmanager
def lent(it: Held) -> Iterator[None]:
    """The probe is out of the tank for as long as this lasts; however it ends, it is told so.

    Raises DeviceUnavailable when the service that reads the probe does not take that up,
    JournalError when the journal cannot be written.
    """
    number = submitted(it.journal_path, _out(it, _MINUTES)).number
    if it.by_service:
        _wait_until_taken(it, number)
    over = threading.Event()
    keeper = threading.Thread(target=_renewed, args=(it, over), daemon=True)
    keeper.start()
    try:
        yield
    except BaseException:
        if it.by_service:
            notice(f"put {it.name} back into the tank now: the service soon believes it again")
        raise
    finally:
        over.set()
        keeper.join()
        submitted(it.journal_path, _out(it, 0.0))


def back_in_the_tank(it: Held, rinsed: str = "with distilled water") -> None:
    """A running service believes the probe again once it is there, not before."""
    if it.by_service:
        typer.prompt(
            f"Rinse the probe {rinsed}, put it back into the tank, then press Enter", default="",
            err=True, show_default=False,
        )  # fmt: skip


def _out(it: Held, minutes: float) -> Service:
    quantity = it.plan.quantity[it.name]
    return Service(present_s(), it.tank, "probe", quantity=quantity, minutes=minutes)


def _renewed(it: Held, over: threading.Event) -> None:
    until_s = time.monotonic() + _LONGEST_S
    while not over.wait(_RENEW_EVERY_S) and time.monotonic() < until_s:
        try:
            submitted(it.journal_path, _out(it, _MINUTES))
        except AfterfillError:
            continue  # the next one comes before the time is over


def _wait_until_taken(it: Held, number: int) -> None:
    until_s = time.monotonic() + _TAKEN_WITHIN_S
    with Journal.open(it.journal_path, read_only=True) as journal:
        while any(waiting == number for waiting, _, _ in journal.inbox()):
            if time.monotonic() > until_s:
                raise DeviceUnavailable(
                    f"the running service does not take up that {it.name} leaves the tank: leave "
                    "it in, and see `systemctl status afterfill`"
                )
            time.sleep(_LOOK_EVERY_S)
