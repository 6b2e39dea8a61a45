"""When quiet readings look as if water went in unannounced."""

from afterfill.inference.monitor.baseline import Baseline

_RISE_MV, _RISE_NOISES = 8.0, 6.0  # smallest move worth a watch; a watch costs only computing
_COLDER_K = 0.4  # a tank's heater and room move it less within a slow level's 45 min
_IN_A_ROW = 3  # a spike is one reading


def looked(baseline: Baseline, orp_mv: float, temperature_c: float | None) -> Baseline:
    """The baseline with its count of readings in a row that stand out."""
    return baseline._replace(over=baseline.over + 1 if _out(baseline, orp_mv, temperature_c) else 0)


def felt(baseline: Baseline, temperature_c: float | None) -> Baseline:
    """The same where the ORP cannot be used and only the temperature tells."""
    return baseline._replace(over=baseline.over + 1 if _driven_off(baseline, temperature_c) else 0)


def raised(baseline: Baseline) -> bool:
    """Whether a watch should begin."""
    return baseline.ready() and baseline.over >= _IN_A_ROW


def _out(baseline: Baseline, orp_mv: float, temperature_c: float | None) -> bool:
    usual_mv = baseline.level_mv if baseline.usual_mv is None else baseline.usual_mv
    level_mv = max(baseline.level_mv, usual_mv)  # coming back from below is no oxidant
    risen = orp_mv - level_mv > max(_RISE_MV, _RISE_NOISES * baseline.noise_mv)
    return risen or _driven_off(baseline, temperature_c)


def _driven_off(baseline: Baseline, temperature_c: float | None) -> bool:
    """Foreign water drives the tank away from its usual warmth; a heater brings it back."""
    warmth, usual = baseline.warmth_c, baseline.usual_c
    if temperature_c is None or warmth is None or usual is None:
        return False
    away = abs(temperature_c - usual) > abs(warmth - usual)
    return away and abs(temperature_c - warmth) > _COLDER_K
