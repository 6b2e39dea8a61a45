"""From the configuration of one tank to the numbers that inference and alarms are told."""

from dataclasses import dataclass, replace
from datetime import UTC, datetime

from afterfill.chemistry.constants import LEGAL_RESIDUAL
from afterfill.chemistry.doses import DoseUnit
from afterfill.config import Config
from afterfill.config_source import Source, SourceChange
from afterfill.inference.model import priors
from afterfill.inference.setup import Setup, Water
from afterfill.planning.asked import Bounds
from afterfill.planning.rescue_words import AtHand
from afterfill.planning.shown import PLAIN, Shown
from afterfill.records import Quantity
from afterfill.tank_table import bottle_of, bounds_of, shown_in

_MAX_OVER_TYPICAL = 2.0  # where the utility's maximum is not known; our judgement


_MONTH_S = 365.2425 / 12 * 86400.0


@dataclass(frozen=True, slots=True)
class BottleKept:
    """The bottle of a tank's neutraliser: its name, what a full one holds [mL], when the one in use
    was opened [Unix s, UTC midnight] and how long one keeps once opened [s]; None: not known."""

    name: str
    bottle_ml: float | None = None
    opened_s: float | None = None
    keeps_s: float | None = None


@dataclass(frozen=True, slots=True)
class TankSetup:
    """All that the fold needs to know of one tank; `every_s` lacks what has no probe. What belongs
    to the machine and to no tank is told with the first tank of the configuration. `later`: the
    setups from the days on that a source changes, in their order."""

    inference: Setup
    waters: dict[str, Water]
    free_ammonia_limit_mg_l: float
    every_s: dict[Quantity, float]
    ph_limits: tuple[float, float] = (0.0, 14.0)
    temperature_limits_c: tuple[float, float] = (-5.0, 60.0)
    tells_machine: bool = True
    at_hand: AtHand | None = None
    bottle: BottleKept | None = None
    shown: Shown = PLAIN
    dose_unit: DoseUnit = "mL"
    later: tuple[tuple[float, "TankSetup"], ...] = ()

    def at(self, time_s: float) -> "TankSetup":
        """The setup that holds at `time_s` [s]."""
        setup = self
        for from_s, changed_setup in self.later:
            if from_s <= time_s:
                setup = changed_setup
        return setup


def tank_setup(config: Config, tank: str) -> TankSetup:
    """The setup of `tank`, which must be in the configuration."""
    days_s = sorted({it.from_s for source in config.source.values() for it in source.change})
    later = tuple((from_s, _setup_at(config, tank, from_s)) for from_s in days_s)
    return replace(_setup_at(config, tank, 0.0), later=later)


def _setup_at(config: Config, tank: str, time_s: float) -> TankSetup:
    table = config.tank[tank]
    bounds = bounds_of(table)
    neutraliser = config.neutraliser_of(tank)
    source = config.source_of(tank)
    return TankSetup(
        inference=Setup(
            tank=tank,
            litres=table.litres,
            limit_mg_l=bounds.residual_oxidant_mg_l,
            water=Water() if source is None else water_at(source, _name_of(config, source), time_s),
            mg_cl2_per_ml=None if neutraliser is None else neutraliser.strength,
            untold=priors.UNTOLD if table.top_off == "unknown" else 0.0,
        ),
        waters={name: water_at(source, name, time_s) for name, source in config.source.items()},
        free_ammonia_limit_mg_l=bounds.free_ammonia_mg_l,
        every_s={probe.quantity: probe.every_s for probe in config.probe if probe.tank == tank},
        ph_limits=bounds.ph,
        temperature_limits_c=bounds.temperature_c,
        tells_machine=tank == next(iter(config.tank)),
        at_hand=_at_hand(config, tank, bounds, source),
        bottle=_kept(config, tank),
        shown=shown_in(config.units),
        dose_unit="mL" if neutraliser is None else neutraliser.unit,
    )


def _kept(config: Config, tank: str) -> BottleKept | None:
    name = config.neutraliser_name_of(tank)
    if name is None:
        return None
    table, opened_s = config.neutraliser[name], None
    if table.opened is not None:
        opened_s = datetime(*table.opened.timetuple()[:3], tzinfo=UTC).timestamp()
    keeps_s = None if table.keeps_months is None else table.keeps_months * _MONTH_S
    return BottleKept(name, table.bottle_ml, opened_s, keeps_s)


def _at_hand(config: Config, tank: str, bounds: Bounds, source: Source | None) -> AtHand:
    """Of several neutralisers, none of which the tank names, each may be meant."""
    chosen, most_mg_l = config.neutraliser_of(tank), LEGAL_RESIDUAL.value
    if source is not None and source.residual_max_mg_l is not None:
        most_mg_l = max(source.residual_max_mg_l, source.residual_mg_l)
    return AtHand(
        bounds,
        config.tank[tank].alkalinity_mg_l_caco3,
        tuple(
            bottle_of(table, name)
            for name, table in config.neutraliser.items()
            if chosen is None or table is chosen
        ),
        most_mg_l,
        tank if len(config.tank) > 1 else None,
    )


def _name_of(config: Config, source: Source) -> str:
    return next(name for name, table in config.source.items() if table is source)


def water_at(source: Source, name: str, time_s: float) -> Water:
    """A source's table as numbers, with the changes that have come by `time_s` [s]."""
    water = water_of(source, name)
    for change in source.change:
        if change.from_s <= time_s:
            water = changed(water, change)
    return water


def water_of(source: Source, name: str = "") -> Water:
    """A source's table as numbers, before any change that it names, with a maximum where none is
    given; `name`: its own."""
    raw_mg_l = source.raw_residual_mg_l
    usual_max = max(usual_max_mg_l(source.residual_mg_l), 1e-3)
    return Water(
        disinfectant=source.disinfectant,
        residual_mg_l=max(source.residual_mg_l, 1e-3),
        residual_max_mg_l=max(source.residual_max_mg_l or usual_max, source.residual_mg_l, 1e-3),
        ammonia_mg_l=source.free_ammonia_total_mg_l,
        chlorine_to_nitrogen=source.chlorine_to_nitrogen,
        temperature_c=source.temperature_c,
        ph=source.ph,
        standing_hours=source.standing_hours,
        name=name,
        kind=source.kind,
        raw_mg_l=None if raw_mg_l is None else max(raw_mg_l, 1e-3),
        cartridge_litres=source.cartridge_litres,
        since_s=source.cartridge_changed_s,
    )


def changed(water: Water, change: SourceChange) -> Water:
    """The water of a source once `change` has come."""
    water = replace(
        water,
        disinfectant=change.disinfectant or water.disinfectant,
        since_s=max(change.from_s, water.since_s),
    )
    typical_mg_l = change.residual_mg_l
    if typical_mg_l is not None:
        typical_mg_l = max(typical_mg_l, 1e-3)
    if water.kind == "filtered":
        return water if typical_mg_l is None else replace(water, raw_mg_l=typical_mg_l)
    if typical_mg_l is None:
        typical_mg_l, usual_max = water.residual_mg_l, water.residual_max_mg_l
    else:
        usual_max = usual_max_mg_l(typical_mg_l)
    most_mg_l = max(change.residual_max_mg_l or usual_max, typical_mg_l)
    return replace(water, residual_mg_l=typical_mg_l, residual_max_mg_l=most_mg_l)


def usual_max_mg_l(typical_mg_l: float) -> float:
    """The most a tap may hold [mg/L as Cl2] where only what is typical is known."""
    return min(_MAX_OVER_TYPICAL * typical_mg_l, LEGAL_RESIDUAL.value)
