"""`afterfill probe read`: what probes say now, from their ports or from the service's journal."""

import time
from collections.abc import Iterator, Sequence
from pathlib import Path

from afterfill.cli.configured import loaded, named
from afterfill.cli.console import notice, tell
from afterfill.cli.recorded import held_by_service, last_readings, tell_of_waiting, value_words
from afterfill.cli.times import age, present_s
from afterfill.config import Config
from afterfill.errors import DeviceUnavailable, UsageError
from afterfill.planning.shown import Shown
from afterfill.records import Reading
from afterfill.service.driver_registry import PortPlan, ports_of
from afterfill.service.liveness import liveness
from afterfill.service.samples_once import readings_once
from afterfill.tank_table import shown_in
from afterfill.wire import to_wire


def usable(
    name: str | None, count: int, every_s: float, config: Path | None, *, as_json: bool
) -> bool:
    """Print `count` readings of a probe or all, each as it comes; whether all that were taken now
    were usable. Raises UsageError, DeviceUnavailable when a port cannot be had."""
    settings, good = loaded(config), True
    shown = shown_in(settings.units)
    for plan in _with_probe(ports_of(settings), name):
        probes = list(plan.quantity) if name is None else [name]
        tell_of_waiting(plan)
        try:
            for reading in _taken(plan, probes, count, every_s):
                _tell(reading, None, shown, as_json)
                good &= reading.value is not None
        except DeviceUnavailable as error:
            if not held_by_service(error, settings, plan):
                raise
            _show_recorded(settings, plan, probes, as_json)
    return good


def _with_probe(plans: list[PortPlan], name: str | None) -> list[PortPlan]:
    known = [probe_name for plan in plans for probe_name in plan.quantity]
    if not known:
        raise UsageError("no probe is configured; add a [[probe]] table")
    if name is None:
        return plans
    named(name, known, "probe")
    return [plan for plan in plans if name in plan.quantity]


def _taken(plan: PortPlan, probes: Sequence[str], count: int, every_s: float) -> Iterator[Reading]:
    return readings_once(
        plan, probes, now=present_s, count=count, pause=lambda: time.sleep(every_s)
    )


def _show_recorded(config: Config, plan: PortPlan, probes: Sequence[str], as_json: bool) -> None:
    notice(f"port {plan.device} is held, it seems by the running service; what that recorded last:")
    path = config.journal.path
    found, live = last_readings(path, plan), liveness(path)
    for name in probes:
        if name in found:
            known = found[name]
            _tell(known.record, live.age_s(known.stamp), shown_in(config.units), as_json)


def _tell(reading: Reading, age_s: float | None, shown: Shown, as_json: bool) -> None:
    """A reading; `age_s` [s] of one that the service recorded, None of one just taken."""
    words, wire = f"{reading.probe}  {value_words(reading, shown)}", to_wire(reading)
    if age_s is not None:
        words, wire = f"{words}  (recorded {age(age_s)} ago)", {**wire, "from": "journal"}
    tell([words], wire, as_json=as_json)
