"""What is to come if nothing more is poured: residual and un-ionised ammonia over a day."""

from dataclasses import dataclass

import numpy as np

from afterfill.inference.belief import Belief
from afterfill.inference.filter.streams import log_normal
from afterfill.inference.model.observations import as_read
from afterfill.inference.model.particles import (
    K_COMBINED_PER_S,
    K_FREE_PER_S,
    NEUTRALISER,
    Particles,
)
from afterfill.inference.model.priors import (
    K_COMBINED_PER_H,
    K_COMBINED_SIGMA,
    K_FREE_PER_H,
    K_FREE_SIGMA,
)
from afterfill.inference.model.transition import predicted
from afterfill.inference.monitor.watch import Watch
from afterfill.inference.posterior.ammonia_ahead import ammonia_ahead
from afterfill.inference.posterior.estimate import (
    chlorine_of,
    rounded,
)
from afterfill.inference.posterior.present import present
from afterfill.inference.quantiles import quantiles_of
from afterfill.inference.setup import Setup
from afterfill.records import Forecast, Quantiles

HOURS = (0.0, 0.5, 1.0, 2.0, 3.0, 4.0, 6.0, 8.0, 12.0, 16.0, 20.0, 24.0)
_SHORT_S, _SHORT_S_UNTIL = 300.0, 3600.0  # while water comes in and meets neutraliser
_MET_MG_L = 1e-3  # of chlorine or of neutraliser: less of one leaves the other as it is


@dataclass(frozen=True, slots=True)
class Outlook:
    """`hours` from now: residual [mg/L as Cl2] and un-ionised ammonia [mg/L as N] then."""

    hours: float
    residual_mg_l: Quantiles
    free_ammonia_mg_l: Quantiles | None


def forecast(belief: Belief, time_s: float) -> list[Outlook]:
    """The outlook at each of HOURS. No new water, no dose."""
    chlorine = residuals(belief, time_s)
    return [
        Outlook(hours, residual, nh3)
        for hours, residual, nh3 in zip(
            HOURS, chlorine, ammonia_ahead(belief, time_s, HOURS), strict=True
        )
    ]


def residuals(belief: Belief, time_s: float) -> list[Quantiles]:
    """The residual [mg/L as Cl2] at each of HOURS."""
    watching = belief.holding
    if watching is None:
        return [chlorine_of(belief, time_s)[0]] * len(HOURS)
    particles, course = _doubting_decay(watching.particles), []
    seconds, all_in_s = watching.last_s - watching.zero_s, watching.all_in_s - watching.zero_s
    begin_s = seconds
    for hours in HOURS:
        end_s = begin_s + 3600.0 * hours
        while seconds < end_s:
            pouring, then_s = seconds <= all_in_s, end_s
            early = seconds < begin_s + _SHORT_S_UNTIL
            if early and (pouring or _is_meeting(particles)):
                then_s = min(end_s, seconds + _SHORT_S)
            particles = predicted(particles, seconds, then_s, pouring=pouring)
            seconds = then_s
        course.append(quantiles_of(as_read(particles.residual), particles.weights))
    return course


def _is_meeting(particles: Particles) -> bool:
    """Whether chlorine and a surplus of neutraliser are in the same water."""
    less = np.minimum(particles.residual, particles.state[NEUTRALISER])
    return bool(less.max() > _MET_MG_L)


def _doubting_decay(particles: Particles) -> Particles:
    """The particles, every other one with a decay as it was believed before any reading. What the
    ORP taught of decay it taught of a falling electrode as well, and a time that is named must
    hold."""
    n = particles.weights.size
    rows = {
        row: np.where(np.arange(n) % 2, particles.parameters[row], drawn / 3600.0)
        for row, drawn in (
            (K_FREE_PER_S, log_normal(n, "decay ahead", K_FREE_PER_H, K_FREE_SIGMA)),
            (K_COMBINED_PER_S, log_normal(n, "decay ahead", K_COMBINED_PER_H, K_COMBINED_SIGMA)),
        )
    }
    return particles.with_rows(rows)


def forecast_record(setup: Setup, belief: Belief, time_s: float) -> Forecast:
    """The day to come in the few figures that a keeper plans by. While the ORP cannot be used, no
    time is given for the residual: what cannot be seen now has no known end. Nor is one that lies
    ahead of a refill that is not believed in, or of which no answer is known."""
    outlooks = forecast(belief, time_s)
    sees = present(belief, time_s).sees
    middle_h, high_h = below_limit_h(outlooks, setup.limit_mg_l) if sees else (None, None)
    if belief.holding is not None and not _is_known(belief.holding):
        middle_h, high_h = (0.0 if hours == 0.0 else None for hours in (middle_h, high_h))
    peak = ammonia_peak(outlooks)
    then = [o.free_ammonia_mg_l for o in outlooks if peak is not None and o.hours == peak[0]]
    return Forecast(
        time_s,
        setup.tank,
        HOURS[-1],
        _moment_s(time_s, middle_h),
        _moment_s(time_s, high_h),
        rounded(then[0]) if then and then[0] is not None else None,
        None if peak is None else _moment_s(time_s, peak[0]),
        sees,
    )


def _is_known(holding: Watch) -> bool:
    """Whether it was found, or tested, what a refill brought."""
    found = holding.said in ("carried-over", "clear")
    return holding.reported and (found or holding.moved_kit != 0.0)


def _moment_s(time_s: float, hours: float | None) -> float | None:
    """So many hours later, to the minute: more would be noise."""
    return None if hours is None else time_s + 60.0 * round(60.0 * hours)


def below_limit_h(outlooks: list[Outlook], limit_mg_l: float) -> tuple[float | None, float | None]:
    """Hours until the residual's median and its 95 % point are below the limit [mg/L] for good,
    interpolated between the outlooks; None where that is more than a day away."""
    middle = [(o.hours, o.residual_mg_l.q50) for o in outlooks]
    high = [(o.hours, o.residual_mg_l.q95) for o in outlooks]
    return _falls_below(middle, limit_mg_l), _falls_below(high, limit_mg_l)


def ammonia_peak(outlooks: list[Outlook]) -> tuple[float, float] | None:
    """Hours and height [mg/L as N] of the highest median of un-ionised ammonia; None unknown."""
    known = [(o.free_ammonia_mg_l.q50, o.hours) for o in outlooks if o.free_ammonia_mg_l]
    if not known:
        return None
    height, hours = max(known, key=lambda pair: (pair[0], -pair[1]))
    return hours, height


def _falls_below(course: list[tuple[float, float]], limit: float) -> float | None:
    for (begin_h, before), (end_h, after) in zip(
        reversed(course[:-1]), reversed(course[1:]), strict=True
    ):
        if after >= limit:
            return None if end_h >= HOURS[-1] else end_h
        if before >= limit:
            return begin_h + (end_h - begin_h) * (before - limit) / (before - after)
    return 0.0
