"""When quiet readings look as if water went in unannounced."""

from afterfill.inference.monitor.baseline import Baseline

_RISE_MV, _RISE_NOISES = 8.0, 6.0  # smallest move worth a watch; a watch costs only computing
_COLDER_K = 0.4  # a tank's heater and room bend its course less within 45 min
_WARMER_K = 0.8  # most sources are colder than the tank: common practice, no source
_SEASON_K = 3.0  # a source's temperature moves with the season; our judgement
_IN_A_ROW = 3  # a spike is one reading


def looked(
    baseline: Baseline, orp_mv: float, temperature_c: float | None, source_c: float | None = None
) -> Baseline:
    """The baseline with its count of readings in a row that stand out. `source_c`: the temperature
    of the source [degrees C], None where it is not known."""
    out = _out(baseline, orp_mv) or _driven_off(baseline, temperature_c, source_c)
    return _counted(baseline, out)


def felt(
    baseline: Baseline, temperature_c: float | None, source_c: float | None = None
) -> Baseline:
    """The same where the ORP cannot be used and only the temperature tells."""
    return _counted(baseline, _driven_off(baseline, temperature_c, source_c))


def _counted(baseline: Baseline, out: bool) -> Baseline:
    if not out and baseline.over == 0:
        return baseline  # nearly always
    return baseline._replace(over=baseline.over + 1 if out else 0)


def raised(baseline: Baseline) -> bool:
    """Whether a watch should begin."""
    return baseline.ready() and baseline.over >= _IN_A_ROW


def _out(baseline: Baseline, orp_mv: float) -> bool:
    usual_mv = baseline.level_mv if baseline.usual_mv is None else baseline.usual_mv
    level_mv = max(baseline.level_mv, usual_mv)  # coming back from below is no oxidant
    return orp_mv - level_mv > max(_RISE_MV, _RISE_NOISES * baseline.noise_mv)


def _driven_off(baseline: Baseline, temperature_c: float | None, source_c: float | None) -> bool:
    """Foreign water drives the tank away from its course, towards the source and no further; a
    heater or the room brings it back, and a warm day is no step."""
    expected, usual = baseline.expected_c(), baseline.usual_c
    if temperature_c is None or expected is None or usual is None:
        return False
    moved_k = temperature_c - expected
    if abs(moved_k) <= (_COLDER_K if moved_k < 0.0 or source_c is not None else _WARMER_K):
        return False
    if source_c is not None and not _is_towards(moved_k, source_c - expected):
        return False
    return abs(temperature_c - usual) > abs(expected - usual)


def _is_towards(moved_k: float, source_k: float) -> bool:
    """Whether a source `source_k` warmer than the tank can have moved it so; one that is near may,
    in its season, lie on either side."""
    if abs(moved_k) > abs(source_k) + _SEASON_K:
        return False
    return abs(source_k) <= _SEASON_K or moved_k * source_k > 0.0
