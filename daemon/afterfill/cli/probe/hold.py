"""A probe held in a liquid: read it until it stands still, from its port or from the journal."""

import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Literal

from afterfill.chemistry.calibration import STEADY_MV, STEADY_PH, steady_value
from afterfill.cli.configured import loaded, named, one_tank
from afterfill.cli.console import notice
from afterfill.cli.probe.said import Patience, Which
from afterfill.cli.recorded import held_by_service, value_words
from afterfill.cli.times import present_s
from afterfill.config import Config
from afterfill.errors import DeviceUnavailable, UsageError
from afterfill.journal.store import Journal
from afterfill.planning.shown import PLAIN
from afterfill.records import Quantity, Reading
from afterfill.service.driver_registry import PortPlan, ports_of
from afterfill.service.liveness import liveness
from afterfill.service.samples_once import readings_once

_STILL_READINGS = 3.5  # intervals that hold the four readings of a value that stands still
_LOOK_EVERY_S = 0.2  # how often the journal is looked at


@dataclass(frozen=True, slots=True)
class Held:
    """One probe, and where its readings come from: its port, or the running service's journal."""

    config: Config
    plan: PortPlan
    name: str
    by_service: bool

    @property
    def tank(self) -> str:
        """The tank it belongs to."""
        return self.plan.tank[self.name]

    @property
    def journal_path(self) -> Path:
        """Where the service keeps what it reads."""
        return self.config.journal.path

    @property
    def source(self) -> Literal["journal", "port"]:
        """Where its readings come from."""
        return "journal" if self.by_service else "port"

    @property
    def offset(self) -> float:
        """What the configuration adds to its values already."""
        return self.plan.offset[self.name]


@dataclass(frozen=True, slots=True)
class Course:
    """(time [s], value) while it was held, and the value at which it stood still, or None."""

    samples: list[tuple[float, float]]
    value: float | None


def held(which: Which, quantity: Quantity) -> Held:
    """The probe that is meant, and whether the service reads it.

    Raises UsageError when there is none or more than one, DeviceUnavailable when it is away.
    """
    config = loaded(which.config)
    plan, name = _found(ports_of(config), one_tank(config, which.tank), quantity, which.probe)
    if plan.feed is not None and liveness(config.journal.path).runs is not False:
        # a broker has room for both, so no lock tells: the service must know that it is in a cup
        return Held(config, plan, name, by_service=True)
    try:
        next(readings_once(plan, [name], now=present_s))
    except DeviceUnavailable as error:
        if not held_by_service(error, config, plan):
            raise
        notice(f"port {plan.device} is held by the running service: its journal is read instead")
        return Held(config, plan, name, by_service=True)
    return Held(config, plan, name, by_service=False)


def _found(
    plans: list[PortPlan], tank: str, quantity: Quantity, probe: str | None
) -> tuple[PortPlan, str]:
    fitting = {
        name: plan
        for plan in plans
        for name in plan.quantity
        if plan.quantity[name] == quantity and plan.tank[name] == tank
    }
    if not fitting:
        raise UsageError(f"tank '{tank}' has no {quantity} probe; add a [[probe]] table")
    if probe is not None:
        return fitting[named(probe, fitting, f"{quantity} probe of tank '{tank}'")], probe
    if len(fitting) > 1:
        raise UsageError(f"say which probe with --probe: {', '.join(fitting)}")
    name, plan = next(iter(fitting.items()))
    return plan, name


def until_steady(it: Held, patience: Patience) -> Course:
    """Read until the value stands still, or the patience ends."""
    patience = _at_its_pace(it, patience)
    spread = STEADY_PH if it.plan.quantity[it.name] == "ph" else STEADY_MV
    samples: list[tuple[float, float]] = []
    for at_s, reading in _readings(it, patience.every_s):
        if reading is not None:
            notice(f"  {at_s:5.0f} s  {value_words(reading, PLAIN)}")
            if reading.value is not None:
                samples.append((at_s, reading.value))
        value = steady_value(samples, patience.still_s, spread)
        if value is not None or at_s >= patience.most_s:
            return Course(samples, value)
    return Course(samples, None)


def _at_its_pace(it: Held, patience: Patience) -> Patience:
    """The service reads a probe as often as its table says, and who publishes does so at a pace
    of its own: slower ones take longer."""
    if not it.by_service and it.plan.feed is None:
        return patience
    every_s = it.plan.every_s[it.name]
    return replace(
        patience,
        still_s=max(patience.still_s, _STILL_READINGS * every_s),
        most_s=max(patience.most_s, 4.0 * _STILL_READINGS * every_s),
    )


def _readings(it: Held, every_s: float) -> Iterator[tuple[float, Reading | None]]:
    """What the probe says from now on, and the seconds since then; now and then nothing."""
    if it.by_service:
        yield from _recorded(it)
        return
    begin_s = time.monotonic()
    pause = partial(time.sleep, every_s)
    for reading in readings_once(it.plan, [it.name], now=present_s, count=1 << 30, pause=pause):
        yield time.monotonic() - begin_s, reading


def _recorded(it: Held) -> Iterator[tuple[float, Reading | None]]:
    """The same from the service's journal, each reading at its own time: while the probe is lent
    the service writes them down as they come."""
    begun_s, begin_s = present_s(), time.monotonic()
    with Journal.open(it.journal_path, read_only=True) as journal:
        after = journal.last_seq()
        while True:
            entries = journal.entries(after, kinds=("reading",), tank=it.tank)
            for entry in entries:
                after, reading = entry.seq, entry.record
                if not isinstance(reading, Reading) or reading.probe != it.name:
                    continue
                if reading.time_s > begun_s:
                    yield reading.time_s - begun_s, reading
            yield time.monotonic() - begin_s, None
            time.sleep(_LOOK_EVERY_S)
