"""Temperature, alkalinity and pH of the tank after the refill: at once, settled, and in air."""

from dataclasses import dataclass, replace

from afterfill.chemistry.carbonate import Water, alkalinity_after, mixed_totals, totals_of
from afterfill.chemistry.carbonate_system import Totals, closed, with_air
from afterfill.chemistry.constants import AIR_CO2
from afterfill.chemistry.mixing import mixed
from afterfill.errors import ModelDomainError
from afterfill.planning.asked import TankBefore, Tap

_Hardness = tuple[float, float]  # times the alkalinity, plus mg/L as CaCO3
_HARDNESSES: tuple[_Hardness, ...] = ((0.0, 0.0), (1.0, 0.0), (1.0, 200.0))
_MOST_HARDNESS_MG_L = 1000.0
ACID_PH = 2.0  # the lowest that the carbonate system is solved for


@dataclass(frozen=True, slots=True)
class PhAfter:
    """pH at once (`closed`), when the tank is as warm and holds as much CO2 as before (`settled`),
    and so warm at equilibrium with outdoor air (`in_air`), which strong aeration nears in a day.

    `later` and `later_in_air`: when the days after have taken their alkalinity too.
    Hardness is not asked for: it is taken as the alkalinity, and `closed_span` is what pH at once
    may be between no hardness and 200 mg/L more. It is narrow but for soft alkaline sources.
    """

    closed: float
    settled: float
    in_air: float
    closed_span: tuple[float, float]
    alkalinity_mg_l_caco3: float
    ionic_strength: float
    later: float
    later_in_air: float

    def highest(self, *, aerated: bool) -> float:
        """The highest pH of the next 24 h, with the tank's usual gas exchange or aerated."""
        usual = max(self.closed_span[1], self.settled)
        return max(usual, self.in_air) if aerated else usual

    def lowest(self, *, aerated: bool) -> float:
        """The lowest pH of the next days; `highest` says how."""
        usual = min(self.closed_span[0], self.settled, self.later)
        return min(usual, self.in_air, self.later_in_air) if aerated else usual


@dataclass(frozen=True, slots=True)
class WaterAfter:
    """`temperature_c` is None when the tank's is not known; without the source's temperature it is
    the tank's own, and `temperature_step_c` stays None. `ph` is None for the reason beside it."""

    temperature_c: float | None
    temperature_step_c: float | None
    ph: PhAfter | None
    ph_step: float | None
    ph_unknown_because: str | None


def water_after(
    tank: TankBefore,
    tap: Tap,
    fraction: float,
    alkalinity_used_mg_l: float = 0.0,
    alkalinity_later_mg_l: float = 0.0,
) -> WaterAfter:
    """The tank when `fraction` (0-1) of it is source water.

    `alkalinity_used_mg_l`: what the neutraliser takes [mg/L as CaCO3 per litre poured];
    `alkalinity_later_mg_l`: what the days after take [per litre of tank]. Raises ModelDomainError
    for a fraction outside 0-1 only.
    """
    temperature, step = _temperature(tank, tap, fraction)
    missing = missing_for_ph(tank, tap)
    if missing:
        return WaterAfter(temperature, step, None, None, f"not known: {', '.join(missing)}")
    try:
        ph = _ph(tank, tap, fraction, alkalinity_used_mg_l, alkalinity_later_mg_l)
    except ModelDomainError as error:
        return WaterAfter(temperature, step, None, None, str(error))
    return WaterAfter(temperature, step, ph, ph.closed - (tank.ph or 0.0), None)


def missing_for_ph(tank: TankBefore, tap: Tap, *, tank_only: bool = False) -> list[str]:
    """What has to be known for the pH of the mixture, or of the tank alone, and is not."""
    needs = {
        "the tank's pH": tank.ph,
        "the tank's alkalinity": tank.alkalinity_mg_l_caco3,
        "the tank's temperature": tank.temperature_c,
        "the source's pH": tap.ph,
        "the source's alkalinity": tap.alkalinity_mg_l_caco3,
    }
    names = [name for name, value in needs.items() if value is None]
    return [name for name in names if "source" not in name] if tank_only else names


def _temperature(tank: TankBefore, tap: Tap, fraction: float) -> tuple[float | None, float | None]:
    if tank.temperature_c is None:
        return None, None
    if tap.temperature_c is None:
        return tank.temperature_c, None
    after = mixed(tank.temperature_c, tap.temperature_c, fraction)
    return after, after - tank.temperature_c


def _ph(
    tank: TankBefore, tap: Tap, fraction: float, alkalinity_used_mg_l: float, later_mg_l: float
) -> PhAfter:
    soft, usual, hard = (
        _mixed(tank, tap, hardness, fraction, alkalinity_used_mg_l) for hardness in _HARDNESSES
    )
    at_once, ends = closed(usual[1]), [closed(soft[1]).ph, closed(hard[1]).ph]
    before, after = usual
    warmed = replace(after, temperature_c=before.temperature_c)
    soured, usual_atm = alkalinity_after(warmed, -later_mg_l), usual_co2_atm(before)
    return PhAfter(
        at_once.ph,
        with_air(warmed, usual_atm).ph,
        with_air(warmed, AIR_CO2.value).ph,
        (min(at_once.ph, *ends), max(at_once.ph, *ends)),
        mixed(tank.alkalinity_mg_l_caco3 or 0.0, tap.alkalinity_mg_l_caco3 or 0.0, fraction)
        - fraction * alkalinity_used_mg_l,
        at_once.ionic_strength,
        sour_ph(soured, usual_atm),
        sour_ph(soured, AIR_CO2.value),
    )


def sour_ph(water: Totals, co2_atm: float) -> float:
    """pH, however much acid there is: where the relation ends, its end."""
    try:
        return with_air(water, co2_atm).ph
    except ModelDomainError:
        return ACID_PH


def _mixed(
    tank: TankBefore, tap: Tap, hardness: _Hardness, fraction: float, alkalinity_used_mg_l: float
) -> tuple[Totals, Totals]:
    """The tank before and after, with its hardness that times the alkalinity, plus so much."""
    times, more = hardness

    def water(ph: float | None, alkalinity: float | None, celsius: float | None) -> Water:
        alkalinity = alkalinity or 0.0
        hard = min(times * alkalinity + more, _MOST_HARDNESS_MG_L)
        return Water(ph or 0.0, alkalinity, hard, celsius or 0.0)

    tap_c = tank.temperature_c if tap.temperature_c is None else tap.temperature_c
    before = _totals("the tank", water(tank.ph, tank.alkalinity_mg_l_caco3, tank.temperature_c))
    source = _totals("the source", water(tap.ph, tap.alkalinity_mg_l_caco3, tap_c))
    after = mixed_totals(before, source, fraction)
    return before, alkalinity_after(after, -fraction * alkalinity_used_mg_l)


def _totals(whose: str, water: Water) -> Totals:
    try:
        return totals_of(water)
    except ModelDomainError as error:
        raise ModelDomainError(f"{whose}: {error}") from error


def usual_co2_atm(water: Totals) -> float:
    """The CO2 of air [atm] that this water would be at equilibrium with."""
    in_air = with_air(water, AIR_CO2.value)
    return AIR_CO2.value * closed(water).co2 / in_air.co2
