"""Now and then one of many records: months are looked back on without reading all of them."""

from collections.abc import Iterator

from afterfill.journal.store import Journal
from afterfill.records import Estimate, Quantity, Reading

_WITHIN_S = 330.0  # the slowest probe speaks each 300 s


def readings_each(
    journal: Journal, tank: str, from_s: float, to_s: float, every_s: float
) -> dict[Quantity, list[float]]:
    """Of each quantity the first usable reading at the begin of each `every_s` [s]."""
    found: dict[Quantity, list[float]] = {}
    for begin_s in _begins(from_s, to_s, every_s):
        met = set[Quantity]()
        for entry in journal.between(tank, begin_s, begin_s + _WITHIN_S, kinds=("reading",)):
            match entry.record:
                case Reading(quantity=quantity, value=float(value)) if quantity not in met:
                    met.add(quantity)
                    found.setdefault(quantity, []).append(value)
    return found


def estimates_each(
    journal: Journal, tank: str, from_s: float, to_s: float, every_s: float
) -> Iterator[Estimate]:
    """The first estimate at the begin of each `every_s` [s], where there was one."""
    for begin_s in _begins(from_s, to_s, every_s):
        entries = journal.between(tank, begin_s, begin_s + _WITHIN_S, kinds=("estimate",))
        first = next((e.record for e in entries if isinstance(e.record, Estimate)), None)
        if first is not None:
            yield first


def _begins(from_s: float, to_s: float, every_s: float) -> Iterator[float]:
    return (from_s + n * every_s for n in range(int((to_s - from_s) // every_s)))
