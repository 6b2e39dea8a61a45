"""Virtual tanks for tests: the simulation's own electrode law, folded record by record."""

from collections.abc import Iterable
from typing import Any

from afterfill.config import Config
from afterfill.records import (
    AlarmChange,
    Estimate,
    Event,
    Input,
    Output,
    Quantity,
    Reading,
    Refill,
    Verdict,
    known_since_s,
)
from afterfill.simulation.virtual_probe import VirtualOrpProbe
from afterfill.simulation.virtual_tank import Disturbance, Inflow, VirtualTank
from afterfill.simulation.virtual_water import TankHabits, WaterState
from afterfill.tank import TankState, folded
from afterfill.tank_setup import TankSetup, tank_setup

ZERO_S = 1_800_000_000.0
HOUR_S = 3600.0
QUANTITIES: tuple[Quantity, ...] = ("temperature", "ph", "orp")


def config_of(disinfectant: str = "chloramine", tap_mg_l: float = 2.0, **tank: Any) -> Config:
    """A 100 L tank with three probes read each 20 s and a neutraliser of 40 mg Cl2 per mL."""
    return Config.model_validate(
        {
            "tank": {"t": {"litres": 100, "livestock": "warmwater", **tank}},
            "source": {
                "tap": {
                    "disinfectant": disinfectant,
                    "residual_mg_l": tap_mg_l,
                    "residual_max_mg_l": 1.5 * tap_mg_l,
                    "temperature_c": 15,
                }
            },
            "neutraliser": {"n": {"agent": "thiosulfate", "mg_cl2_per_ml": 40}},
            "probe": [
                {"tank": "t", "quantity": q, "driver": "line", "port": "/x", "every_s": 20}
                for q in QUANTITIES
            ],
        }
    )


def setup_of(config: Config) -> TankSetup:
    return tank_setup(config, "t")


def raw(disinfectant: str, tap_mg_l: float) -> WaterState:
    """Tap water as it comes."""
    if disinfectant == "chlorine":
        return WaterState(free=tap_mg_l, ammonia=0.0, temperature_c=15.0, ph=7.8)
    return WaterState(combined=tap_mg_l, ammonia=0.05, temperature_c=15.0, ph=7.8)


def treated() -> WaterState:
    """Tap water with a modest surplus of neutraliser."""
    return WaterState(neutraliser=0.5, ammonia=0.4, temperature_c=15.0, ph=7.8)


def story(
    hours: float,
    inflows: Iterable[Inflow] = (),
    disturbances: Iterable[Disturbance] = (),
    seed: int = 1,
    every_s: float = 20.0,
) -> list[Input]:
    """The readings of such a tank, three a moment."""
    tank = VirtualTank(TankHabits(), VirtualOrpProbe(seed))
    tank.inflows, tank.disturbances = list(inflows), list(disturbances)
    readings: list[Input] = []
    for number in range(int(hours * HOUR_S / every_s)):
        tank.moved_to(number * every_s)
        shown = tank.measured()
        time_s = ZERO_S + tank.time_s
        readings += [Reading(time_s, "t", q, round(shown[q], 3)) for q in QUANTITIES]
    return readings


def merged(readings: list[Input], events: Iterable[Event]) -> list[Input]:
    """In the order in which the fold must see them."""
    return sorted([*events, *readings], key=known_since_s)


def after(
    setup: TankSetup, inputs: Iterable[Input], every_s: float = 60.0
) -> tuple[TankState, list[Output]]:
    """The tank's state after these inputs, and all that the fold finds in them."""
    state, found = TankState(), list[Output]()
    for record in inputs:
        state, outputs = folded(setup, state, record, every_s)
        found += outputs
    return state, found


def found_in(setup: TankSetup, inputs: Iterable[Input], every_s: float = 60.0) -> list[Output]:
    """All that the fold finds in these inputs."""
    return after(setup, inputs, every_s)[1]


def refill(at_h: float, **said: Any) -> Refill:
    return Refill(ZERO_S + at_h * HOUR_S, "t", "replace", **said)


def pour(at_h: float, share: float, source: WaterState, minutes: float = 10.0) -> Inflow:
    return Inflow(at_h * HOUR_S, at_h * HOUR_S + 60.0 * minutes, share, source)


def verdicts(found: Iterable[Output]) -> list[Verdict]:
    return [o for o in found if isinstance(o, Verdict)]


def estimates(found: Iterable[Output]) -> list[Estimate]:
    return [o for o in found if isinstance(o, Estimate)]


def raised(found: Iterable[Output], alarm: str) -> list[float]:
    """Hours at which this alarm asked for attention; another word about its dose is no asking."""
    return [
        (o.time_s - ZERO_S) / HOUR_S
        for o in transitions(found, alarm)
        if o.active and o.state == "unacknowledged"
    ]


def transitions(found: Iterable[Output], alarm: str) -> list[AlarmChange]:
    """The changes of an alarm by which it came to stand otherwise."""
    kept, stood = list[AlarmChange](), None
    for change in (o for o in found if isinstance(o, AlarmChange) and o.alarm == alarm):
        if (change.state, change.active, change.known) != stood:
            kept.append(change)
        stood = change.state, change.active, change.known
    return kept
