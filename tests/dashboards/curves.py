"""Curves that more than one dashboard shows."""

from grafana_foundation_sdk.models.units import Celsius, MilliVolt

from dashboards.palette import BLUE, GREY, SKY, VERMILLION
from dashboards.parts import DASH_DOT, DASHED, DOTTED, MG_L, PH, Curves
from dashboards.queries import course, limit, reading

_LIMIT = "limit"


def residual() -> Curves:
    """What is believed of the residual."""
    made = Curves(
        "Residual oxidant: what is believed, and the limit",
        "Free plus combined chlorine, mg/L as Cl2. Line: the median. Band: 5 % to 95 %, so nine "
        "chances in ten. Dashes: the tank's limit. Dots: the detection floor, the smallest "
        "residual that would be called now with 95 % power.",
        MG_L,
        3,
    )
    made.band("5 %", "95 %", SKY, (_estimate("residual_q05"), _estimate("residual_q95")))
    made.curve("median", course("estimate", "residual_q50_mg_l", "median"), BLUE)
    made.curve(_LIMIT, limit("residual_oxidant_mg_l", _LIMIT), VERMILLION, DASHED)
    floor = course("estimate", "detection_floor_mg_l", "detection floor")
    return made.curve("detection floor", floor, GREY, DOTTED)


def _estimate(stem: str) -> str:
    name = {"q05": "5 %", "q95": "95 %"}[stem.rsplit("_", 1)[1]]
    return course("estimate", f"{stem}_mg_l", name)


def ammonia() -> Curves:
    """What is believed of un-ionised ammonia."""
    made = Curves(
        "Un-ionised ammonia: what is believed, and the limit",
        "NH3, mg/L as N. A model fed with test kits, pH and temperature: no probe measures it.",
        MG_L,
        4,
    )
    made.band("5 %", "95 %", SKY, (_estimate("free_ammonia_q05"), _estimate("free_ammonia_q95")))
    made.curve("median", course("estimate", "free_ammonia_q50_mg_l", "median"), BLUE)
    return made.curve(_LIMIT, limit("free_ammonia_mg_l", _LIMIT), VERMILLION, DASHED)


def probability() -> Curves:
    """How likely it is that the limit is exceeded."""
    made = Curves(
        "Probability: residual over the limit",
        "The highest in each step. Verdicts are made at 5 % and 90 %.",
        "percentunit",
        0,
    )
    query = course("estimate", "p_over_limit", "over the limit", "max")
    made.panel.min(0.0).max(1.0)
    return made.curve("over the limit", query, BLUE)


def orp() -> Curves:
    """What the ORP probe says."""
    made = Curves("ORP", "As the probe says, against its own reference.", MilliVolt, 0)
    return made.curve("ORP", reading("orp", "ORP"), BLUE)


def ph() -> Curves:
    """What the pH probe says."""
    made = Curves("pH", "As the probe says. Dashes: the tank's limits.", PH, 2)
    made.curve("pH", reading("ph", "pH"), BLUE)
    made.curve("highest", limit("ph_high", "highest"), VERMILLION, DASHED)
    return made.curve("lowest", limit("ph_low", "lowest"), VERMILLION, DASH_DOT)


def temperature() -> Curves:
    """What the temperature probe says."""
    made = Curves("Temperature", "As the probe says. Dashes: the tank's limits.", Celsius, 1)
    made.curve("temperature", reading("temperature", "temperature"), BLUE)
    made.curve("highest", limit("temperature_high_c", "highest"), VERMILLION, DASHED)
    return made.curve("lowest", limit("temperature_low_c", "lowest"), VERMILLION, DASH_DOT)
