"""What the tables of one tank say, as numbers and words that need no inference."""

from dataclasses import dataclass

from afterfill.chemistry.doses import DoseUnit
from afterfill.chemistry.limits import default_limits
from afterfill.config import Config, Neutraliser, Tank, Units
from afterfill.planning.asked import Bottle, Bounds
from afterfill.planning.shown import PLAIN, Gallon, Shown
from afterfill.records import Quantity

_OWN = "configuration"
_GALLON: dict[str, Gallon] = {"US gal": "us", "imp gal": "imperial"}


@dataclass(frozen=True, slots=True)
class TankTable:
    """What is needed to show a tank: its limits, how often its probes are asked [s] (`every_s`
    lacks what has no probe), and in which units its keeper thinks."""

    bounds: Bounds
    every_s: dict[Quantity, float]
    shown: Shown = PLAIN
    dose_unit: DoseUnit = "mL"


def tank_table(config: Config, tank: str) -> TankTable:
    """Of `tank`, which must be in the configuration."""
    neutraliser = config.neutraliser_of(tank)
    return TankTable(
        bounds_of(config.tank[tank]),
        {probe.quantity: probe.every_s for probe in config.probe if probe.tank == tank},
        shown_in(config.units),
        "mL" if neutraliser is None else neutraliser.unit,
    )


def shown_in(units: Units) -> Shown:
    """How a person is shown things, by what the configuration says of it."""
    gallon = None if units.volume is None else _GALLON.get(units.volume)
    return Shown(gallon, units.temperature == "F", hardness=units.hardness or "mg/L")


def bounds_of(table: Tank) -> Bounds:
    """A tank's limits: its own, where it has one, else those of its livestock."""
    usual, own = default_limits(table.livestock), table.limits
    return Bounds(
        own.residual_oxidant_mg_l or usual.residual_oxidant_mg_l.value,
        own.free_ammonia_mg_l or usual.free_ammonia_mg_l.value,
        own.ph or (usual.ph.low, usual.ph.high),
        own.temperature_c or (usual.temperature_c.low, usual.temperature_c.high),
        residual_source=_OWN if own.residual_oxidant_mg_l else usual.residual_oxidant_mg_l.short,
        free_ammonia_source=_OWN if own.free_ammonia_mg_l else usual.free_ammonia_mg_l.short,
    )


def bottle_of(neutraliser: Neutraliser, name: str = "") -> Bottle:
    """A neutraliser's table as plans take it; `name`: its own."""
    label = neutraliser.label
    return Bottle(
        neutraliser.agent,
        neutraliser.strength,
        neutraliser.binds_ammonia,
        None if label is None else label.amount,
        None if label is None else label.litres,
        name,
        neutraliser.unit,
    )
