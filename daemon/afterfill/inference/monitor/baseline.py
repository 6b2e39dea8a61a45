"""The tank's own quiet ORP, corrected for pH: what a step is measured against."""

from typing import NamedTuple

from afterfill.inference.model import priors
from afterfill.inference.model.electrode import PH_REFERENCE

READY_S = 600.0  # ten minutes of quiet readings make a first baseline
_MOST_OF_A_GAP_S = 60.0  # a pause between two readings shows no more quiet than this
_SLOWLY_PER_S = 1.0 / 2700.0  # the slow level follows with 45 min: slower than a carry-over
_USUAL_S = 43_200.0  # half a day: slower than any heater's recovery
_NOISE_YOUNG_SHARE = 0.02  # of each new squared difference that a young baseline's noise takes on
_NOISE_S = 10_800.0  # later so slowly that an hour in the air does not pass for noise
_LEAST_NOISE_MV = 0.3  # below most probes' resolution


class Baseline(NamedTuple):
    """`level_mv`: slow level at the reference pH; `seen_s`: how long its readings have been seen,
    in which a pause or a jump of the clock counts a minute at most; `warmth_c`: slow temperature,
    `slower_c` the same of that: from both follows where a room that warms or cools would be now;
    `usual_c`, `usual_mv`: temperature and level of the last half day; `noise_mv`:
    standard deviation of a reading around its neighbours; `over` counts steps above the level."""

    level_mv: float
    seen_s: float
    time_s: float
    last_mv: float
    noise_mv: float = priors.NOISE_MV
    warmth_c: float | None = None
    usual_c: float | None = None
    usual_mv: float | None = None
    over: int = 0
    slower_c: float | None = None

    def expected_c(self) -> float | None:
        """The temperature [degrees C] that the tank's own course leads to: Brown's double
        exponential smoothing, which follows a ramp without lag (Brown 1963, Smoothing, Forecasting
        and Prediction; from memory). None before there is one."""
        if self.warmth_c is None or self.slower_c is None:
            return self.warmth_c
        return 2.0 * self.warmth_c - self.slower_c

    def trend_k_per_h(self) -> float:
        """How fast the tank warms by itself [K/h]; 0 before it is known."""
        if self.warmth_c is None or self.slower_c is None:
            return 0.0
        return 3600.0 * _SLOWLY_PER_S * (self.warmth_c - self.slower_c)

    def to_go_s(self) -> float:
        """How much more quiet has to be seen before the level is known [s]."""
        return max(READY_S - self.seen_s, 0.0)

    def ready(self) -> bool:
        """Whether there has been enough quiet to know the level."""
        return self.seen_s >= READY_S


def corrected_mv(orp_mv: float, ph: float | None, slope_mv: float) -> float:
    """ORP [mV] brought to the reference pH with a slope in mV per pH."""
    return orp_mv if ph is None else orp_mv - slope_mv * (ph - PH_REFERENCE)


def noise_of(baseline: Baseline | None) -> float:
    """Learnt noise of the ORP [mV]; the usual one before a probe was met."""
    return priors.NOISE_MV if baseline is None else baseline.noise_mv


def begun(orp_mv: float, time_s: float, noise_mv: float = priors.NOISE_MV) -> Baseline:
    """A baseline from its first corrected reading."""
    return Baseline(orp_mv, 0.0, time_s, orp_mv, noise_mv)


def followed(
    baseline: Baseline, orp_mv: float, temperature_c: float | None, time_s: float
) -> Baseline:
    """The baseline after one more corrected reading in quiet times."""
    step_s = time_s - baseline.time_s
    young = not baseline.ready()
    pace = min(1.0, step_s * (8.0 if young else 1.0) * _SLOWLY_PER_S)
    moved = _bounded(orp_mv - baseline.level_mv, 4.0 * baseline.noise_mv + 8.0)
    warmth_c, slower_c = _warmth(baseline, temperature_c, pace)
    usual_pace = min(1.0, step_s / _USUAL_S)
    return Baseline(
        level_mv=baseline.level_mv + pace * moved,
        seen_s=baseline.seen_s + min(step_s, _MOST_OF_A_GAP_S),
        time_s=time_s,
        last_mv=orp_mv,
        noise_mv=_learnt_noise(baseline, orp_mv, step_s),
        warmth_c=warmth_c,
        usual_c=_slow(baseline.usual_c, temperature_c, usual_pace),
        usual_mv=_slow(baseline.usual_mv, orp_mv, usual_pace),
        over=baseline.over,
        slower_c=slower_c,
    )


def warmed(baseline: Baseline, temperature_c: float | None, step_s: float) -> Baseline:
    """The baseline after `step_s` [s] in which only the temperature could be used."""
    warmth_c, slower_c = _warmth(baseline, temperature_c, min(1.0, step_s * _SLOWLY_PER_S))
    return baseline._replace(
        warmth_c=warmth_c,
        slower_c=slower_c,
        usual_c=_slow(baseline.usual_c, temperature_c, min(1.0, step_s / _USUAL_S)),
    )


def _warmth(
    baseline: Baseline, temperature_c: float | None, pace: float
) -> tuple[float | None, float | None]:
    warmth_c = _slow(baseline.warmth_c, temperature_c, pace)
    return warmth_c, _slow(baseline.slower_c, warmth_c, pace)


def _learnt_noise(baseline: Baseline, orp_mv: float, step_s: float) -> float:
    """Neighbouring readings differ by root two of the noise; spikes and gaps teach nothing."""
    if step_s > 300.0:
        return baseline.noise_mv
    variance = baseline.noise_mv**2
    square = min((orp_mv - baseline.last_mv) ** 2 / 2.0, 4.0 * variance)
    share = step_s / _NOISE_S if baseline.ready() else _NOISE_YOUNG_SHARE
    learnt = variance + share * (square - variance)
    return float(max(learnt**0.5, _LEAST_NOISE_MV))


def _slow(slow: float | None, value: float | None, pace: float) -> float | None:
    if value is None or slow is None:
        return slow if value is None else value
    return slow + pace * (value - slow)


def _bounded(value: float, bound: float) -> float:
    return max(-bound, min(bound, value))
