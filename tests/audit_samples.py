"""What was said and what kits showed, drawn by chance, for the tests of the audit."""

from typing import Any

import numpy as np

from afterfill.audit.kits import Kit
from afterfill.records import ForecastCheck, Quantiles

QUIET = Quantiles(0.0, 0.0, 0.015)
HOUR_S = 3600.0


def truth_of(said: Quantiles, random: np.random.Generator) -> float:
    """A truth as it was believed in: a normal side each way of the median."""
    z = random.standard_normal()
    side = said.q50 - said.q05 if z < 0 else said.q95 - said.q50
    return float(max(said.q50 + side / 1.6448536 * z, 0.0))


def shown_by(
    kit: Kit, truth_mg_l: float, scale: float, step_mg_l: float, random: np.random.Generator
) -> float:
    """What such a kit shows, with its errors at `scale`, rounded to its step."""
    wrong, read = random.random(), truth_mg_l
    if wrong < scale * kit.low:
        read = random.random() * truth_mg_l
    elif wrong < scale * (kit.low + kit.high):
        read = random.random() * kit.high_mg_l
    else:
        z = random.standard_t(4) if kit.tails else random.standard_normal()
        read += scale * z * float(np.hypot(kit.floor_mg_l, kit.share * truth_mg_l))
    return max(round(read / step_mg_l) * step_mg_l, 0.0)


def forecast_check(at_h: float, **further: Any) -> ForecastCheck:
    """A total-chlorine test of a quiet tank that shows nothing, `at_h` hours on."""
    given: dict[str, Any] = {
        "tank": "window",
        "kit_s": at_h * HOUR_S,
        "said_s": at_h * HOUR_S,
        "lead_h": 0.0,
        "sees": True,
        "limit_mg_l": 0.019,
        "residual_mg_l": QUIET,
        "free_chlorine_mg_l": QUIET,
        "total_ammonia_mg_l": Quantiles(0.05, 0.1, 0.2),
        "p_over_limit": 0.0,
        "kit_total_chlorine_mg_l": 0.0,
        **further,
    }
    return ForecastCheck(time_s=at_h * HOUR_S, **given)
