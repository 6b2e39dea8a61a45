"""Reads probes outside the service: a port is opened, asked and let go."""

import time
from collections.abc import Callable, Iterator, Sequence

from afterfill.ports import ProbePort, Sample
from afterfill.records import QUANTITIES, Reading
from afterfill.service.driver_registry import PortPlan, open_port

_LOOK_EVERY_S = 0.2


def readings_once(
    plan: PortPlan,
    probes: Sequence[str] | None = None,
    *,
    now: Callable[[], float],
    count: int = 1,
    pause: Callable[[], object] = lambda: None,
) -> Iterator[Reading]:
    """`count` readings of each of `probes` (all of the port when None), with a pause between.

    `now` gives Unix seconds. A bad reply is an invalid reading with its raw bytes. Raises
    DeviceUnavailable when the port cannot be opened, is held by another program, or is lost.
    """
    names = _in_order(plan, probes)
    port = open_port(plan)
    try:
        port.open()
        for number in range(count):
            if number:
                pause()
            yield from _asked(plan, port, names, now)
    finally:
        port.close()


def _in_order(plan: PortPlan, probes: Sequence[str] | None) -> list[str]:
    wanted = list(plan.quantity) if probes is None else list(probes)
    return sorted(wanted, key=lambda name: QUANTITIES.index(plan.quantity[name]))


def _asked(
    plan: PortPlan, port: ProbePort, names: Sequence[str], now: Callable[[], float]
) -> list[Reading]:
    """A probe that speaks by itself is waited for, until it does or its driver gives it up."""
    found: dict[str, Reading] = {}
    while True:
        samples = port.read([name for name in names if name not in found])
        found |= {sample.probe: _reading(plan, sample, now()) for sample in samples}
        if len(found) == len(names):
            return [found[name] for name in names]
        time.sleep(_LOOK_EVERY_S)


def _reading(plan: PortPlan, sample: Sample, time_s: float) -> Reading:
    value = None if sample.value is None else round(sample.value + plan.offset[sample.probe], 6)
    return Reading(
        time_s,
        plan.tank[sample.probe],
        plan.quantity[sample.probe],
        value,
        sample.probe,
        sample.invalid,
        sample.raw.hex(" ") if sample.invalid else "",
    )
