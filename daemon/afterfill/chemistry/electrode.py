"""What pH and ORP electrodes do with temperature."""

from afterfill.chemistry.constants import FARADAY, GAS_CONSTANT, KELVIN
from afterfill.chemistry.domain import LIQUID_WATER_C, within

_LN_10 = 2.302585092994046
_MV_PER_PH_PER_KELVIN = 1000.0 * _LN_10 * GAS_CONSTANT.value / FARADAY.value


def slope_mv_per_ph(temperature_c: float) -> float:
    """Nernst slope of an ideal pH electrode [mV per pH], 0-50 degrees C.

    Raises ModelDomainError outside. Source: ln(10) R T / F.

    >>> round(slope_mv_per_ph(25.0), 3)
    59.159
    """
    within("temperature", temperature_c, *LIQUID_WATER_C, "°C")
    return _MV_PER_PH_PER_KELVIN * (temperature_c + KELVIN)
