"""The carbonate system of fresh water solved for pH: from pH, from carbon, or from air.

Four ion pairs of Ca and Mg with carbonate and bicarbonate, and their hydroxides, which count in
hard water of little alkalinity; activities by extended Debye-Hueckel.
At given ionic strength and free Ca and Mg, alkalinity and carbon are linear in the activity of
CO3-2, so each question is one root in pH; those three are then renewed until pH stands still.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from math import inf, log10
from typing import NamedTuple

from afterfill.chemistry import constants
from afterfill.chemistry.acid_base import water_permittivity
from afterfill.chemistry.activity import Gammas, gammas
from afterfill.chemistry.constants import KELVIN
from afterfill.errors import ModelDomainError

_MG_PER_EQ = 500.0 * constants.CACO3.value
_PH_FLOOR, _PH_CEILING = 2.0, 12.0
_ROUNDS = 60
_TOLERANCE = 1e-9  # pH
_STEP = 1e-11  # pH: steps shrink faster than the bracket, of which one end may stay
_WIDE_PH = 0.2  # in less the alkalinity is nearly straight
_NEAR_PH = 0.05  # from one round to the next the pH moves less; else the whole range is searched
_SETTLED = 1e-7  # relative, of the activity of CO3-2


@dataclass(frozen=True, slots=True)
class Totals:
    """The conserved amounts of a water [mol/L; alkalinity in eq/L] and its temperature [C]."""

    temperature_c: float
    alkalinity: float
    carbon: float
    calcium: float
    magnesium: float
    sodium: float
    chloride: float


class Speciation(NamedTuple):
    """A solved water: pH, activity of CO3-2, CO2, all carbon and ionic strength [mol/L]."""

    ph: float
    carbonate: float
    co2: float
    carbon: float
    ionic_strength: float


class Equilibria(NamedTuple):
    """Equilibrium constants (not logarithms) at one temperature."""

    hco3: float
    co2: float
    air: float
    water: float
    caco3: float
    cahco3: float
    mgco3: float
    mghco3: float
    caoh: float
    mgoh: float


@dataclass(frozen=True, slots=True)
class Linear:
    """Species per unit activity of CO3-2: `two` carbonates, `one` bicarbonates per h, `zero` CO2
    per h^2; hydroxide times h and hydrogen per h stand beside them."""

    two: float
    one: float
    zero: float
    hydroxide: float
    hydrogen: float

    def alkalinity(self, h: float) -> float:
        """Carbonate alkalinity per unit activity of CO3-2."""
        return self.one * h + 2.0 * self.two

    def carbon(self, h: float) -> float:
        """Carbon per unit activity of CO3-2."""
        return (self.zero * h + self.one) * h + self.two

    def water(self, h: float) -> float:
        """Alkalinity of the water itself [eq/L]."""
        return self.hydroxide / h - self.hydrogen * h


Closing = Callable[[Linear], tuple[float, float]]  # linear parts -> (h, activity of CO3-2)


def at_ph(totals: Totals, ph: float) -> Speciation:
    """Speciation of a water whose pH is known; `totals.carbon` is not used.

    Raises ModelDomainError when so high a pH needs more alkalinity than there is.

    >>> soda = Totals(25.0, 1e-3, 0.0, 0.0, 0.0, 1e-3, 0.0)
    >>> round(at_ph(soda, 8.3).carbon, 6)
    0.000998
    """
    h = 10.0**-ph

    def closing(linear: Linear) -> tuple[float, float]:
        carbonate = (totals.alkalinity - linear.water(h)) / linear.alkalinity(h)
        if carbonate < 0.0:
            raise ModelDomainError(
                f"pH {ph:g} needs more alkalinity than {totals.alkalinity * _MG_PER_EQ:.3g} mg/L as"
                " CaCO3: measure both again; purified water of pH to 8 holds about 2"
            )
        return h, carbonate

    return _settle(totals, closing)


def closed(totals: Totals) -> Speciation:
    """Speciation from alkalinity and carbon. Raises ModelDomainError when no pH 2-12 fits.

    >>> round(closed(Totals(25.0, 1e-3, 1e-3, 0.0, 0.0, 1e-3, 0.0)).ph, 2)
    8.27
    """

    near = None

    def closing(linear: Linear) -> tuple[float, float]:
        nonlocal near
        near = h = _root(
            lambda h: totals.carbon * linear.alkalinity(h) / linear.carbon(h) + linear.water(h),
            totals.alkalinity,
            near,
        )
        return h, totals.carbon / linear.carbon(h)

    return _settle(totals, closing)


def with_air(totals: Totals, co2_atm: float) -> Speciation:
    """Speciation at equilibrium with CO2 [atm]. Raises ModelDomainError when no pH 2-12 fits.

    >>> round(with_air(Totals(25.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0), 420e-6).ph, 2)  # rain
    5.6
    """
    k = equilibria(totals.temperature_c)
    dissolved = co2_atm * k.air / k.co2

    near = None

    def closing(linear: Linear) -> tuple[float, float]:
        nonlocal near
        near = h = _root(
            lambda h: dissolved / (h * h) * linear.alkalinity(h) + linear.water(h),
            totals.alkalinity,
            near,
        )
        return h, dissolved / (h * h)

    return _settle(totals, closing)


@lru_cache(maxsize=256)
def equilibria(temperature_c: float) -> Equilibria:
    """Equilibrium constants at 0-50 degrees C. Sources: constants.

    >>> round(log10(equilibria(25.0).hco3), 3)
    10.329
    """
    t = temperature_c + KELVIN
    terms = (1.0, t, 1.0 / t, log10(t), 1.0 / (t * t), t * t)
    return Equilibria(
        *(
            10.0 ** sum(c * x for c, x in zip(equation.values, terms, strict=True))
            for equation in (
                constants.CO3_H,
                constants.CO3_2H,
                constants.CO2_GAS,
                constants.WATER_ION_PRODUCT,
                constants.CA_CO3,
                constants.CA_HCO3,
                constants.MG_CO3,
                constants.MG_HCO3,
                constants.CA_OH,
                constants.MG_OH,
            )
        )
    )


def _settle(totals: Totals, closing: Closing) -> Speciation:
    """Renew ionic strength and free Ca and Mg until pH stands still."""
    k = equilibria(totals.temperature_c)
    permittivity = float(water_permittivity(totals.temperature_c))
    strength, calcium, magnesium, before = 1e-3, totals.calcium, totals.magnesium, 0.0
    for _ in range(_ROUNDS):
        g = gammas(totals.temperature_c, strength, permittivity)
        linear = _linear(k, g, calcium, magnesium)
        h, carbonate = closing(linear)
        calcium = totals.calcium / (1.0 + _paired_ca(k, g, h) * carbonate)
        magnesium = totals.magnesium / (1.0 + _paired_mg(k, g, h) * carbonate)
        new_strength = _ionic_strength(totals, k, g, (h, carbonate, calcium, magnesium))
        settled = abs(carbonate - before) <= _SETTLED * carbonate
        if settled and abs(new_strength - strength) < 1e-9:
            co2 = carbonate * linear.zero * h * h
            return Speciation(-log10(h), carbonate, co2, carbonate * linear.carbon(h), strength)
        strength, before = new_strength, carbonate
    raise ModelDomainError("the carbonate system did not settle: check alkalinity, hardness and pH")


def _linear(k: Equilibria, g: Gammas, calcium: float, magnesium: float) -> Linear:
    ca, mg = calcium * g.ca, magnesium * g.mg
    return Linear(
        1.0 / g.co3 + (k.caco3 * ca + k.mgco3 * mg) / g.neutral,
        k.hco3 / g.hco3 + k.cahco3 * ca / g.cahco3 + k.mghco3 * mg / g.mghco3,
        k.co2 / g.co2,
        k.water / g.oh + (k.caoh * ca + k.mgoh * mg) / g.hco3,
        1.0 / g.h,
    )


def _paired_ca(k: Equilibria, g: Gammas, h: float) -> float:
    return g.ca * (k.caco3 / g.neutral + k.cahco3 * h / g.cahco3)


def _paired_mg(k: Equilibria, g: Gammas, h: float) -> float:
    return g.mg * (k.mgco3 / g.neutral + k.mghco3 * h / g.mghco3)


def _ionic_strength(
    totals: Totals, k: Equilibria, g: Gammas, found: tuple[float, float, float, float]
) -> float:
    h, carbonate, calcium, magnesium = found
    pairs = (
        carbonate
        * h
        * (k.cahco3 * calcium * g.ca / g.cahco3 + k.mghco3 * magnesium * g.mg / g.mghco3)
    )
    single = carbonate * h * k.hco3 / g.hco3 + h / g.h + k.water / h / g.oh + pairs
    double = carbonate / g.co3 + calcium + magnesium
    return 0.5 * (single + totals.sodium + totals.chloride) + 2.0 * double


def _root(alkalinity: Callable[[float], float], wanted: float, near: float | None) -> float:
    """h at which `alkalinity`, which rises with pH, is `wanted`: Illinois steps on a bracket, a
    narrow one around the h of the round before where it holds the root."""
    low, high = _PH_FLOOR, _PH_CEILING
    if near is not None:
        low, high = -log10(near) - _NEAR_PH, -log10(near) + _NEAR_PH
    below, above = alkalinity(10.0**-low) - wanted, alkalinity(10.0**-high) - wanted
    if not below <= 0.0 <= above:
        if near is not None:
            return _root(alkalinity, wanted, None)
        raise ModelDomainError(f"no pH between {low:g} and {high:g} gives this alkalinity")
    side, before = 0, inf
    for _ in range(200):
        middle = (
            0.5 * (low + high)
            if high - low > _WIDE_PH and _lopsided(below, above)
            else (low * above - high * below) / (above - below)
        )
        value = alkalinity(10.0**-middle) - wanted
        if value <= 0.0:
            low, below, above, side = middle, value, above * (0.5 if side < 0 else 1.0), -1
        else:
            high, above, below, side = middle, value, below * (0.5 if side > 0 else 1.0), 1
        if high - low < _TOLERANCE or abs(value) < 1e-15 or abs(middle - before) < _STEP:
            break
        before = middle
    return float(10.0**-middle)


def _lopsided(below: float, above: float) -> bool:
    # far from the root the curve is exponential in pH and a secant creeps
    return above > -50.0 * below or -below > 50.0 * above
