"""The tank's pH, temperature and share of HOCl as the inference may use them."""

from afterfill.chemistry.acid_base import hocl_fraction
from afterfill.chemistry.chloramine_binding import binding_rate
from afterfill.inference.belief import Belief
from afterfill.inference.model.electrode import PH_REFERENCE

_USUAL_C = 25.0


def ph_at(belief: Belief, time_s: float) -> float | None:
    """The pH, or None when it is too old."""
    return belief.ph.at(time_s)


def temperature_at(belief: Belief, time_s: float) -> float | None:
    """The temperature [degrees C], or None when it is too old."""
    return belief.temperature.at(time_s)


def hocl_at(belief: Belief, time_s: float) -> float:
    """Share of HOCl. Where pH or temperature is missing a usual one stands in: this only shapes
    the electrode's response, whose own spread is far wider. The relation ends at 0 and 35 C."""
    ph, temperature_c = belief.ph.at(time_s), belief.temperature.at(time_s)
    warmth_c = _USUAL_C if temperature_c is None else min(max(temperature_c, 0.0), 35.0)
    return hocl_fraction(PH_REFERENCE if ph is None else ph, warmth_c)


def binding_at(belief: Belief, time_s: float) -> float:
    """How fast ammonia binds free chlorine [L/(mg s)], within the range of the scheme; a usual pH
    and temperature stand in where one is missing."""
    ph, temperature_c = belief.ph.at(time_s), belief.temperature.at(time_s)
    within_ph = min(max(PH_REFERENCE if ph is None else ph, 6.0), 10.0)
    warmth_c = min(max(_USUAL_C if temperature_c is None else temperature_c, 0.0), 35.0)
    return binding_rate(within_ph, warmth_c)


def quiet_mv(belief: Belief, ph: float | None) -> float | None:
    """The ORP [mV] that the tank's quiet level gives at this pH."""
    if belief.baseline is None:
        return None
    off = 0.0 if ph is None else ph - PH_REFERENCE
    return belief.baseline.level_mv + belief.learnt.ph_slope_mv * off
