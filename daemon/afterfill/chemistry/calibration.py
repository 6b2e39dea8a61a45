"""Calibrating a probe through its meter: when a reading stands still, and what offset mends it."""

import math
from collections.abc import Sequence

import numpy as np

from afterfill.chemistry.domain import PH, within
from afterfill.chemistry.electrode import Calibration, Point, mv_of_ph, slope_mv_per_ph

STEADY_PH, STEADY_MV = 0.02, 2.0  # two steps of common meters; our judgement
_LEAST_READINGS = 4


def steady_value(
    samples: Sequence[tuple[float, float]], window_s: float, spread: float
) -> float | None:
    """The middle of the last `window_s` seconds of (time [s], value), once they stand still.

    Still: at least four readings that differ by no more than `spread`, in the values' unit, over
    the whole window. None until then.

    >>> steady_value([(0, 7.31), (10, 7.10), (20, 7.01), (30, 7.0), (40, 7.0), (50, 7.0)], 30, 0.02)
    7.0
    """
    if not samples or samples[-1][0] - samples[0][0] < window_s:
        return None
    last = [value for time_s, value in samples if time_s >= samples[-1][0] - window_s - 1e-6]
    if len(last) < _LEAST_READINGS or max(last) - min(last) > spread + 1e-9:
        return None
    return float(np.median(last))


def point_of(shown_ph: float, buffer_ph: float, temperature_c: float) -> Point:
    """A calibration point of a meter that shows pH: what its electrode gave, if the meter reckons
    with an ideal slope at the buffer's temperature [degrees C].

    A meter that was calibrated itself hides part of its electrode: the slope is then that of both
    together. Raises ModelDomainError outside pH 0-14 or 0-50 degrees C.

    >>> round(point_of(4.16, 4.0, 25.0).shown_mv, 1)
    168.0
    """
    return Point(buffer_ph, mv_of_ph(shown_ph, temperature_c), temperature_c)


def correction_ph(calibration: Calibration, ph: float, temperature_c: float) -> float:
    """What to add to what the meter shows in water of this pH, at 0-50 degrees C.

    Raises ModelDomainError outside.

    >>> correction_ph(Calibration(1.0, -5.9159, 0.0, 1), 7.5, 25.0)
    -0.1
    """
    within("pH", ph, *PH)
    slope = slope_mv_per_ph(temperature_c)
    shown = 7.0 + calibration.slope_share * (ph - 7.0) - calibration.offset_mv / slope
    return round(ph - shown, 3)


def rise_s(samples: Sequence[tuple[float, float]], from_mv: float, to_mv: float) -> float | None:
    """Seconds from the first of (time [s], mV) until 63 % of the way is done; None if never.

    >>> rise_s([(0, 300.0), (60, 350.0), (120, 370.0), (180, 380.0)], 300.0, 400.0)
    100.0
    """
    mark = from_mv + (1.0 - math.exp(-1.0)) * (to_mv - from_mv)
    for i in range(1, len(samples)):
        (t0, v0), (t1, v1) = samples[i - 1], samples[i]
        if min(v0, v1) <= mark <= max(v0, v1) and v0 != v1:
            return round(t0 + (t1 - t0) * (mark - v0) / (v1 - v0) - samples[0][0], 0)
    return None
