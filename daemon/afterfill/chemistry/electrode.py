"""pH and ORP electrodes: slope, calibration by one to three points, and the probe's health.

A glass electrode gives E = offset - share x Nernst slope x (pH - 7); share 1 is ideal. Temperature
compensation corrects the slope, not what temperature does to the water's own pH.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from afterfill.chemistry.constants import (
    ELECTRODE_ACCEPTANCE,
    FARADAY,
    GAS_CONSTANT,
    KELVIN,
    ORP_ACCEPTANCE_MV,
)
from afterfill.chemistry.domain import LIQUID_WATER_C, PH, within
from afterfill.errors import ModelDomainError

_LN_10 = 2.302585092994046
_MV_PER_PH_PER_KELVIN = 1000.0 * _LN_10 * GAS_CONSTANT.value / FARADAY.value
_POSSIBLE_MV = (-1500.0, 1500.0)

Health = Literal["good", "maintain", "renew soon", "replace", "check the buffers"]


@dataclass(frozen=True, slots=True)
class Point:
    """One calibration point: the buffer's pH at its temperature, and what the probe showed [mV]."""

    ph: float
    shown_mv: float
    temperature_c: float


@dataclass(frozen=True, slots=True)
class Calibration:
    """A calibrated pH electrode: share of the Nernst slope, offset at pH 7 [mV], and the largest
    misfit of a point [mV]."""

    slope_share: float
    offset_mv: float
    misfit_mv: float
    points: int


@dataclass(frozen=True, slots=True)
class Verdict:
    """How a probe is, and one sentence why."""

    health: Health
    reason: str


def slope_mv_per_ph(temperature_c: float) -> float:
    """Nernst slope of an ideal pH electrode [mV per pH], 0-50 degrees C.

    Raises ModelDomainError outside. Source: ln(10) R T / F.

    >>> round(slope_mv_per_ph(25.0), 3)
    59.159
    """
    within("temperature", temperature_c, *LIQUID_WATER_C, "°C")
    return _MV_PER_PH_PER_KELVIN * (temperature_c + KELVIN)


def mv_of_ph(
    ph: float, temperature_c: float, slope_share: float = 1.0, offset_mv: float = 0.0
) -> float:
    """What an electrode gives [mV] at this pH: to turn a probe's own pH back into millivolts.

    pH 0-14, 0-50 degrees C. Raises ModelDomainError outside.

    >>> round(mv_of_ph(4.0, 25.0), 1)
    177.5
    """
    within("pH", ph, *PH)
    return offset_mv - slope_share * slope_mv_per_ph(temperature_c) * (ph - 7.0)


def calibrate(points: Sequence[Point]) -> Calibration:
    """Slope and offset from one to three points; one point gives the offset only.

    Raises ModelDomainError for no or more than three points, for buffers closer than 1 pH, and for
    a slope of the wrong sign.

    >>> c = calibrate([Point(7.0, -5.0, 25.0), Point(4.0, 166.0, 25.0)])
    >>> round(c.slope_share, 3), round(c.offset_mv, 1)
    (0.963, -5.0)
    """
    if not 1 <= len(points) <= 3:
        raise ModelDomainError(f"{len(points)} calibration points were given: give 1, 2 or 3")
    for point in points:
        within("electrode potential", point.shown_mv, *_POSSIBLE_MV, "mV")
    ideal = [mv_of_ph(point.ph, point.temperature_c) for point in points]
    shown = [point.shown_mv for point in points]
    if len(points) == 1:
        return Calibration(1.0, shown[0] - ideal[0], 0.0, 1)
    if max(p.ph for p in points) - min(p.ph for p in points) < 1.0:
        raise ModelDomainError(
            "the calibration buffers lie too close: take two at least 1 pH apart"
        )
    return _fitted(ideal, shown)


def health(calibration: Calibration) -> Verdict:
    """Whether a pH probe is fit for use. Source: constants.ELECTRODE_ACCEPTANCE.

    >>> health(Calibration(0.88, -12.0, 0.5, 2)).health
    'renew soon'
    """
    offset, good, fair, worn, high, misfit = ELECTRODE_ACCEPTANCE.values
    share = calibration.slope_share
    percent = f"the slope is {100.0 * share:.0f} % of ideal"
    if share > high or calibration.misfit_mv > misfit:
        return Verdict(
            "check the buffers", f"{percent}, points off by {calibration.misfit_mv:.1f} mV"
        )
    if share < worn or abs(calibration.offset_mv) > offset:
        return Verdict("replace", f"{percent}, the offset {calibration.offset_mv:.0f} mV")
    if share < fair:
        return Verdict("renew soon", percent)
    return Verdict("maintain" if share < good else "good", percent)


def orp_health(offset_mv: float) -> Verdict:
    """Whether an ORP probe is fit for use, from its offset in a standard [mV].

    Source: constants.ORP_ACCEPTANCE_MV.

    >>> orp_health(11.0).health
    'good'
    """
    text = f"it is {-offset_mv:+.0f} mV off in the standard"
    limit = ORP_ACCEPTANCE_MV.value
    if abs(offset_mv) <= limit:
        return Verdict("good", text)
    return Verdict("maintain" if abs(offset_mv) <= 2.0 * limit else "replace", text)


def _fitted(ideal: list[float], shown: list[float]) -> Calibration:
    count = len(ideal)
    mean_ideal, mean_shown = sum(ideal) / count, sum(shown) / count
    spread = sum((x - mean_ideal) ** 2 for x in ideal)
    together = sum((x - mean_ideal) * (y - mean_shown) for x, y in zip(ideal, shown, strict=True))
    share = together / spread
    if share <= 0.0:
        raise ModelDomainError("the probe's slope has the wrong sign: were the buffers swapped?")
    offset = mean_shown - share * mean_ideal
    misfit = max(abs(y - offset - share * x) for x, y in zip(ideal, shown, strict=True))
    return Calibration(share, offset, misfit, count)
