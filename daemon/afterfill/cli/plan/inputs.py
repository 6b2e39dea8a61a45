"""What a plan is made from, and where it came from: option, journal, file or assumption."""

from dataclasses import dataclass

from afterfill.chemistry.constants import AMMONIA_KIT
from afterfill.chemistry.constants_fish import LEAST_OXYGEN
from afterfill.chemistry.doses import dose_words
from afterfill.chemistry.kits import by_kit
from afterfill.chemistry.limits import default_limits
from afterfill.chemistry.standing import Interval
from afterfill.chemistry.units import celsius_from
from afterfill.cli.bottle import bottle_by_journal
from afterfill.cli.console import Table
from afterfill.cli.plan.journal import (
    AMMONIA,
    PH,
    TEMPERATURE,
    Seen,
    Used,
    seen_by,
)
from afterfill.cli.plan.said import Said
from afterfill.cli.plan.source import Held, held_by
from afterfill.cli.spread import spread
from afterfill.config import Config, Neutraliser, Tank
from afterfill.config_source import Source
from afterfill.errors import ModelDomainError, UsageError
from afterfill.planning.asked import Bottle, Bounds, TankBefore, Tap
from afterfill.planning.shown import Shown
from afterfill.tank_bottle import BottleNow
from afterfill.tank_table import bottle_of, bounds_of

_USUAL_AMMONIA = Interval(0.01, 0.05, 0.26)  # a tank whose filter works; common practice, no source


@dataclass(frozen=True, slots=True)
class Known:
    """Everything a plan is made from. `max_is_given`: the source's maximum is stated, not assumed;
    `ammonia_counts_bound`: the tank's ammonia includes what chloramine holds; `stock`: what is left
    of the neutraliser."""

    name: str
    tank: TankBefore
    tap: Tap
    bottle: Bottle | None
    bounds: Bounds
    standing_hours: float
    shown: Shown
    used: tuple[Used, ...]
    max_is_given: bool
    ammonia_counts_bound: bool
    source_name: str = "ID"
    stock: BottleNow | None = None


def inputs(config: Config, name: str, said: Said, shown: Shown) -> Known:
    """All that is known. Raises UsageError for an option that cannot be."""
    source, neutraliser = config.source_of(name, said.source), config.neutraliser_of(name)
    bounds = bounds_of(config.tank[name])
    tank, used, counts_bound = _tank(config, name, said, bounds, shown)
    held = held_by(config, name, source)
    tap, tap_used = _tap(source, held, said, shown)
    return Known(
        name=name,
        tank=tank,
        tap=tap,
        bottle=None if neutraliser is None else bottle_of(neutraliser),
        bounds=bounds,
        standing_hours=held.standing_hours,
        shown=shown,
        used=(
            *used,
            *tap_used,
            *_bottle_used(neutraliser),
            *_limits_used(config.tank[name], bounds),
        ),
        max_is_given=bool(held.origin)
        or (source is not None and source.residual_max_mg_l is not None),
        ammonia_counts_bound=counts_bound,
        stock=bottle_by_journal(config, name),
        source_name=next((n for n, it in config.source.items() if it is source), "ID"),
    )


def used_table(known: Known) -> Table:
    """What a plan was worked out from."""
    return Table(("what", "value", "from"), [(u.what, u.value, u.origin) for u in known.used])


def _tank(
    config: Config, name: str, said: Said, bounds: Bounds, shown: Shown
) -> tuple[TankBefore, list[Used], bool]:
    table = config.tank[name]
    seen = seen_by(config.journal.path, name, shown)
    ph, ph_used = _ph(said, seen)
    celsius, celsius_used = _temperature(said, seen, bounds, shown)
    ammonia, ammonia_used = _ammonia(said, seen)
    alkalinity = Used(
        "tank's alkalinity",
        shown.alkalinity(table.alkalinity_mg_l_caco3),
        _origin("alkalinity_mg_l_caco3" in table.model_fields_set),
    )
    tank = TankBefore(table.litres, ammonia, ph, celsius, table.alkalinity_mg_l_caco3)
    counts_bound = said.ammonia_mg_l is None and seen.ammonia_mg_l is not None
    return tank, [*ph_used, celsius_used, ammonia_used, alkalinity], counts_bound


def _ph(said: Said, seen: Seen) -> tuple[float | None, list[Used]]:
    """pH is never assumed: it decides too much."""
    if said.tank_ph is None:
        return seen.ph, [it for it in seen.used if it.what == PH]
    if not 0.0 <= said.tank_ph <= 14.0:
        raise UsageError(f"--tank-ph is {said.tank_ph:g}: give a pH between 0 and 14")
    return said.tank_ph, [Used(PH, f"{said.tank_ph:.2f}", "option")]


def _temperature(said: Said, seen: Seen, bounds: Bounds, shown: Shown) -> tuple[float, Used]:
    if said.tank_temperature is not None:
        celsius = _celsius("--tank-temperature", said.tank_temperature)
        return celsius, Used(TEMPERATURE, shown.temperature(celsius), "option")
    if seen.temperature_c is not None:
        return seen.temperature_c, next(it for it in seen.used if it.what == TEMPERATURE)
    middle = sum(bounds.temperature_c) / 2.0
    return middle, Used(TEMPERATURE, shown.temperature(middle), "assumed: the middle of its limits")


def _ammonia(said: Said, seen: Seen) -> tuple[Interval, Used]:
    if said.ammonia_mg_l is not None:
        if not 0.0 <= said.ammonia_mg_l <= 100.0:
            raise UsageError(f"--ammonia is {said.ammonia_mg_l:g}: give mg/L as N from 0 to 100")
        total = by_kit(AMMONIA_KIT, said.ammonia_mg_l)
        return total, Used(AMMONIA, f"{spread(total)} mg/L as N", "option, with a kit's error")
    if seen.ammonia_mg_l is not None:
        return seen.ammonia_mg_l, next(it for it in seen.used if it.what == AMMONIA)
    why = "assumed: a filter that works (common practice, no source)"
    return _USUAL_AMMONIA, Used(AMMONIA, f"{spread(_USUAL_AMMONIA)} mg/L as N", why)


def _tap(source: Source | None, held: Held, said: Said, shown: Shown) -> tuple[Tap, list[Used]]:
    table = Source() if source is None else source
    given = frozenset[str]() if source is None else source.model_fields_set
    celsius = table.temperature_c
    ph, alkalinity = _source_ph(said, table), _source_alkalinity(said, table)
    if said.source_temperature is not None:
        celsius = _celsius("--source-temperature", said.source_temperature)
    tap = Tap(
        held.disinfectant,
        held.residual_mg_l,
        held.most_mg_l,
        table.chlorine_to_nitrogen,
        table.free_ammonia_total_mg_l,
        ph,
        alkalinity,
        celsius,
    )
    return tap, _tap_used(tap, held, given, said, shown)


def _source_ph(said: Said, table: Source) -> float | None:
    if said.source_ph is not None and not 0.0 <= said.source_ph <= 14.0:
        raise UsageError(f"--source-ph is {said.source_ph:g}: give a pH between 0 and 14")
    return table.ph if said.source_ph is None else said.source_ph


def _source_alkalinity(said: Said, table: Source) -> float | None:
    given = said.source_alkalinity
    if given is not None and not 0.0 <= given <= 1000.0:
        raise UsageError(f"--source-alkalinity is {given:g}: give mg/L as CaCO3 from 0 to 1000")
    return table.alkalinity_mg_l_caco3 if given is None else given


def _tap_used(
    tap: Tap, held: Held, given: frozenset[str] | set[str], said: Said, shown: Shown
) -> list[Used]:
    kind = held.origin or _origin("disinfectant" in given)
    used = [
        Used("source's disinfectant", tap.disinfectant, kind),
        Used(
            "its residual",
            f"{tap.residual_mg_l:.3g} mg/L",
            held.origin or _origin("residual_mg_l" in given),
        ),
        Used(
            "its residual at most",
            f"{tap.residual_max_mg_l:.3g} mg/L",
            held.origin or _origin("residual_max_mg_l" in given, "twice the usual, at most 4"),
        ),
    ]
    if tap.disinfectant != "chlorine" and tap.uncombined_ammonia_mg_l is None:
        ratio = f"{tap.chlorine_to_nitrogen:g} by mass"
        used.append(Used("its Cl2 to N", ratio, _origin("chlorine_to_nitrogen" in given)))
    if tap.ph is not None:
        origin = "configuration" if said.source_ph is None else "option"
        used.append(Used("its pH", f"{tap.ph:g}", origin))
    if tap.alkalinity_mg_l_caco3 is not None:
        text = shown.alkalinity(tap.alkalinity_mg_l_caco3)
        origin = "configuration" if said.source_alkalinity is None else "option"
        used.append(Used("its alkalinity", text, origin))
    if tap.temperature_c is not None:
        origin = "configuration" if said.source_temperature is None else "option"
        used.append(Used("its temperature", shown.temperature(tap.temperature_c), origin))
    return used


def _bottle_used(neutraliser: Neutraliser | None) -> list[Used]:
    if neutraliser is None:
        return []
    strength, label = neutraliser.strength, neutraliser.label
    origin = "configuration"
    if label is not None:
        origin = f"label: {dose_words(label.amount, label.unit)} for {label.litres:.4g} L"
        if "mg_l" in label.model_fields_set:
            origin += f" at {label.mg_l:g} mg/L"
        else:  # no word of the label's: it may not be shown as if it were one
            origin += f"; assumed: at {label.mg_l:g} mg/L (label.mg_l is not given)"
    return [
        Used("neutraliser", neutraliser.agent, _origin("agent" in neutraliser.model_fields_set)),
        Used("its strength", f"{strength:.3g} mg Cl2 per {neutraliser.unit}", origin),
    ]


def _limits_used(table: Tank, bounds: Bounds) -> list[Used]:
    """The limits, each with its whole source where it is not the keeper's own."""
    usual, own = default_limits(table.livestock), table.limits
    residual, ammonia = usual.residual_oxidant_mg_l, usual.free_ammonia_mg_l
    return [
        Used(
            "limit of the residual",
            f"{bounds.residual_oxidant_mg_l:.3g} mg/L",
            "configuration" if own.residual_oxidant_mg_l else residual.source,
        ),
        Used(
            "limit of un-ionised ammonia",
            f"{bounds.free_ammonia_mg_l:.3g} mg/L as N",
            "configuration" if own.free_ammonia_mg_l else ammonia.source,
        ),
        Used(
            "least oxygen",
            f"{bounds.oxygen_mg_l:g} mg/L",
            f"{LEAST_OXYGEN.source} ({LEAST_OXYGEN.status})",
        ),
    ]


def _origin(given: bool, why: str = "the default") -> str:
    return "configuration" if given else f"assumed: {why}"


def _celsius(option: str, text: str) -> float:
    try:
        celsius = celsius_from(text)
    except ModelDomainError as error:
        raise UsageError(f"{option}: {error}") from error
    if not 0.0 <= celsius <= 40.0:
        raise UsageError(f"{option} is {celsius:.1f} °C: give a temperature between 0 and 40 °C")
    return celsius
