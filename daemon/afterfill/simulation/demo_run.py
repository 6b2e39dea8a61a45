"""The demo: the ordinary drivers, recorder and fold on a virtual tank in fast time."""

from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from pathlib import Path

from afterfill.config import Config
from afterfill.config_file import load
from afterfill.journal.store import Journal
from afterfill.planning.rescue import rescue_dose_ml
from afterfill.records import AlarmChange, AlarmCommand, Output, Reading, Stamp
from afterfill.service.driver_registry import PortPlan, ports_of
from afterfill.service.recorder import Recorder
from afterfill.service.sampler import Sampler
from afterfill.simulation import demo_scenario as story
from afterfill.simulation.line_device import LineDevice
from afterfill.simulation.modbus_device import ModbusDevice
from afterfill.simulation.pty_port import PtyPort
from afterfill.simulation.virtual_tank import VirtualTank

CONFIG_NAME, JOURNAL_NAME = "afterfill.toml", "afterfill.db"
_ALARM = "residual-oxidant"


@dataclass(frozen=True, slots=True)
class Frame:
    """One moment: what was read, said and found, and what is really in the water [mg/L as Cl2],
    which only the simulation knows."""

    time_s: float
    readings: list[Reading]
    found: list[Output]
    true_residual_mg_l: float
    lines: list[str] = field(default_factory=list)


def prepared(folder: Path) -> Config:
    """The demo's folder with its configuration, as a keeper would have written it."""
    folder.mkdir(parents=True, exist_ok=True)
    text = story.configuration(folder / "orp-probe", folder / "probe-bus")
    (folder / CONFIG_NAME).write_text(text, encoding="utf-8")
    return load(folder / CONFIG_NAME)


def played(folder: Path, seed: int = 11) -> Iterator[Frame]:
    """Play the story; the journal ends up in `folder`."""
    config = prepared(folder)
    tank = story.demo_tank(seed)
    with ExitStack() as stack:
        stack.enter_context(PtyPort(LineDevice(tank.measured), folder / "orp-probe"))
        stack.enter_context(PtyPort(ModbusDevice(1, tank.measured), folder / "probe-bus"))
        samplers = [Sampler(_always_due(plan)) for plan in ports_of(config)]
        for sampler in samplers:
            stack.callback(sampler.close)
        recorder = Recorder(config, folder / JOURNAL_NAME)
        people = stack.enter_context(Journal.open(folder / JOURNAL_NAME))
        yield from _told(tank, samplers, recorder, people)
        recorder.close(_stamp(story.END_S))


def _told(
    tank: VirtualTank, samplers: list[Sampler], recorder: Recorder, people: Journal
) -> Iterator[Frame]:
    to_come = story.scenes()
    time_s, answered = story.START_S, False
    while time_s < story.END_S:
        tank.moved_to(time_s)
        stamp = _stamp(time_s)
        now = [scene for scene in to_come if scene.time_s <= time_s]
        to_come = [scene for scene in to_come if scene.time_s > time_s]
        _said(now, people, tank, stamp)
        found = recorder.inbox(stamp)
        readings = [reading for sampler in samplers for reading in sampler.read_due(stamp)]
        found += recorder.readings(readings, stamp)
        recorder.save(stamp)
        if not answered and _alarmed(found):
            answered = True
            to_come += _answer(recorder, time_s)
        yield Frame(time_s, readings, found, tank.water.residual, [s.line for s in now])
        time_s += story.every_s_at(time_s)


def _said(scenes: list[story.Scene], people: Journal, tank: VirtualTank, stamp: Stamp) -> None:
    """What is said goes through the inbox, as from a command line; a dose is also poured."""
    for scene in scenes:
        if scene.event is not None:
            people.submit(scene.event, stamp)
        if scene.dose_ml:
            tank.dosed(scene.dose_ml * story.MG_CL2_PER_ML / story.LITRES)


def _answer(recorder: Recorder, alarm_s: float) -> list[story.Scene]:
    """The keeper's answer, dosed for the upper end of what the posterior says by then."""
    high_mg_l = recorder.residual_high_mg_l(story.TANK)
    dose_ml = rescue_dose_ml(story.LITRES, high_mg_l, story.MG_CL2_PER_ML)
    wake_s = alarm_s + 1200.0
    acknowledged = AlarmCommand(story.BEGIN_S + wake_s, story.TANK, _ALARM, "acknowledge")
    waking = story.Scene(wake_s, "the keeper's telephone rings; the alarm is seen", acknowledged)
    return [waking, *story.rescue_scenes(alarm_s, round(dose_ml, 1))]


def _alarmed(found: list[Output]) -> bool:
    return any(isinstance(o, AlarmChange) and o.alarm == _ALARM and o.active for o in found)


def _always_due(plan: PortPlan) -> PortPlan:
    """The demo sets the pace itself: every probe is due at every moment that is played."""
    return replace(plan, every_s=dict.fromkeys(plan.every_s, 0.0))


def _stamp(time_s: float) -> Stamp:
    return Stamp(story.BEGIN_S + time_s, True, "demo", time_s + 1.0)
