"""What is said of the water, remembered until a test kit answers it.

A row an hour, for a day: when it was said, whether the ORP could be used, the probability over the
limit and free chlorine then, and for each of LEADS_H residual and total ammonia, 5, 50 and 95 %
points each. A forecast supposes that nothing is poured: one that was overtaken by water or
neutraliser counts for nothing.
"""

from collections.abc import Iterator

import numpy as np

from afterfill.audit.answers import APART_S
from afterfill.inference import ammonia
from afterfill.inference.filter.streams import Array
from afterfill.inference.posterior.estimate import estimate, rounded
from afterfill.inference.posterior.forecast import HOURS, residuals
from afterfill.inference.posterior.present import present
from afterfill.records import ForecastCheck, KitResult, Quantiles
from afterfill.tank_setup import TankSetup
from afterfill.tank_state import PastForecasts, TankState

LEADS_H = (0.0, 1.0, 6.0, 24.0)
_EVERY_S, _KEPT_S = 3600.0, 25.0 * 3600.0
_AT_ONCE_S = 900.0  # a test takes some minutes; what is believed then is still of that water
_NEAR_S = 0.5 * _EVERY_S
_SAID, _SEES, _P_OVER, _FREE = 0, 1, 2, 3  # columns; free chlorine takes three
_AHEAD = 6  # from here on: six columns for each lead


def remembered(setup: TankSetup, state: TankState, time_s: float) -> TankState:
    """The state that also remembers what is said at `time_s` [s], once an hour."""
    rows = state.forecasts.rows
    if rows.size and rows[-1, _SAID] // _EVERY_S == time_s // _EVERY_S:
        return state
    young = rows[rows[:, _SAID] > time_s - _KEPT_S]
    rows = np.vstack((young, _row(setup, state, time_s)))
    return state._replace(forecasts=state.forecasts._replace(rows=rows))


def _row(setup: TankSetup, state: TankState, time_s: float) -> Array:
    belief = state.belief
    now = estimate(setup.inference, belief, present(belief, time_s))
    ahead = dict(zip(HOURS, residuals(belief, time_s), strict=True))
    ahead[0.0] = now.residual_mg_l
    row = [time_s, float(now.sees), now.p_over_limit, *now.free_chlorine_mg_l]
    for hours in LEADS_H:
        then = ammonia.total_of(ammonia.aged(belief.ammonia, 3600.0 * hours))
        row += [*rounded(ahead[hours]), *rounded(then)]
    return np.array(row)


def poured(state: TankState, time_s: float) -> TankState:
    """The state after water or neutraliser came at `time_s` [s]."""
    latest_s = max(state.forecasts.poured_s, time_s)
    return state._replace(forecasts=state.forecasts._replace(poured_s=latest_s))


def answered(
    setup: TankSetup, state: TankState, kit: KitResult, time_s: float
) -> tuple[TankState, list[ForecastCheck]]:
    """The state after `kit` was held against what had been said of its water, and that, as it was
    before the kit became known at `time_s` [s]. Nothing where nothing had been said, or where the
    kit measured nothing but what was tested just before: such records are kept for ever."""
    old = state.forecasts
    shown = (kit.total_chlorine_mg_l, kit.free_chlorine_mg_l, kit.total_ammonia_mg_l)
    tested_s = tuple(
        last_s if value is None or abs(kit.time_s - last_s) < APART_S else kit.time_s
        for value, last_s in zip(shown, old.tested_s, strict=True)
    )
    if state.belief.stepped_s is None or tested_s == old.tested_s:
        return state, []
    state = state._replace(forecasts=old._replace(tested_s=tested_s))
    at_once = time_s - kit.time_s <= _AT_ONCE_S and old.poured_s <= kit.time_s
    rows = [(_row(setup, state, time_s), 0.0)] if at_once else []
    rows += _due(old, kit.time_s, LEADS_H[1:] if at_once else LEADS_H)
    limit_mg_l = setup.inference.limit_mg_l
    return state, [_record(kit, time_s, limit_mg_l, row, lead_h) for row, lead_h in rows]


def _record(
    kit: KitResult, time_s: float, limit_mg_l: float, row: Array, lead_h: float
) -> ForecastCheck:
    now, first = lead_h == 0.0, _AHEAD + 6 * LEADS_H.index(lead_h)
    said = row.tolist()
    return ForecastCheck(
        time_s,
        kit.tank,
        kit.time_s,
        said[_SAID],
        lead_h,
        bool(said[_SEES]),
        limit_mg_l,
        Quantiles(*said[first : first + 3]),
        Quantiles(*said[_FREE : _FREE + 3]) if now else None,
        Quantiles(*said[first + 3 : first + 6]),
        said[_P_OVER] if now else None,
        kit.total_chlorine_mg_l,
        kit.free_chlorine_mg_l,
        kit.total_ammonia_mg_l,
    )


def _due(
    old: PastForecasts, kit_s: float, leads_h: tuple[float, ...]
) -> Iterator[tuple[Array, float]]:
    """For each lead the row whose forecast fell due nearest to `kit_s` [s], if one is near."""
    for lead_h in leads_h:
        late_s = kit_s - (old.rows[:, _SAID] + 3600.0 * lead_h)
        near = np.abs(late_s) <= _NEAR_S if lead_h else (late_s >= 0.0) & (late_s <= _EVERY_S)
        overtaken = (old.rows[:, _SAID] < old.poured_s) & (old.poured_s <= kit_s)
        fitting = np.flatnonzero(near & ~overtaken)
        if fitting.size:
            nearest = fitting[np.argmin(np.abs(late_s[fitting]))]
            yield old.rows[nearest], lead_h
