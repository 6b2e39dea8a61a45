"""Un-ionised ammonia in the hours to come: food and filter, and a pH that does not stand still.

The pH goes back to what the tank usually has at that hour, at a pace that is not known: carbon
dioxide leaves in hours, a changed alkalinity stays for days. Before a whole day was seen, it may
stay or rise towards water in balance with air. The filter's bacteria work less while chlorine is
about: more than 1.7 mg/L, held on, keeps nitrifiers down in supply reservoirs (a paper on
rechloramination, abstract; its author and year were not shown), and their activity is said to
return when dosing ends (quoted from a thesis on nitrifying biofilm, secondary). How a fish tank's
filter fares at less was not found: our judgement.
"""

from collections.abc import Sequence

import numpy as np

from afterfill.chemistry.acid_base import nh3_fraction
from afterfill.inference import ammonia
from afterfill.inference.ammonia import N
from afterfill.inference.belief import Belief
from afterfill.inference.conditions import ph_at, temperature_at
from afterfill.inference.filter.streams import Array, log_normal, normal, uniform
from afterfill.inference.monitor.daily_course import usual_at
from afterfill.inference.monitor.filter_harm import working_share
from afterfill.inference.quantiles import quantiles_alike_of_each
from afterfill.records import Quantiles

_BACK_H, _BACK_SIGMA = 6.0, 1.0  # in which a pH goes back to its course; our judgement
_WANDER = 0.08  # of a day's pH around its course; our judgement
_AIR_PH, _STAYS = 8.3, 0.5  # water of middling alkalinity in balance with air; chance that it stays
_WARMED_H = 4.0  # in which heater and room bring a temperature back; our judgement
_LIVABLE_C, _LIVABLE_PH = (0.0, 50.0), (4.0, 10.5)  # the relation ends there; no tank has others


def ammonia_ahead(belief: Belief, time_s: float, hours: Sequence[float]) -> list[Quantiles | None]:
    """Un-ionised ammonia [mg/L as N] at each of `hours` from `time_s`, nothing poured and nothing
    dosed; None where pH or temperature is not known."""
    ph, now_c = ph_at(belief, time_s), temperature_at(belief, time_s)
    if ph is None or now_c is None or not _LIVABLE_C[0] <= now_c <= _LIVABLE_C[1]:
        return [None] * len(hours)
    ahead_h = np.asarray(hours)[:, None]  # a row for each hour, a column for each member
    working = working_share(belief.holding, time_s)
    total = ammonia.total_after(belief.ammonia, 3600.0 * ahead_h, working)
    then_c = np.broadcast_to(_temperature_then(belief, now_c, ahead_h), total.shape)
    share = nh3_fraction(_ph_then(belief, ph, time_s, ahead_h), then_c)
    return [*quantiles_alike_of_each(total * share)]


def _ph_then(belief: Belief, ph: float, time_s: float, ahead_h: Array) -> Array:
    """The pH of each member `ahead_h` (k, 1) hours after it was `ph`, shape (k, 64)."""
    still = np.exp(-ahead_h / log_normal(N, "pH goes back", _BACK_H, _BACK_SIGMA))
    wander = _WANDER * np.sqrt(1.0 - np.exp(-ahead_h / _BACK_H)) * normal(N, "pH ahead")
    ahead_s = np.concatenate(((0.0,), 3600.0 * ahead_h[:, 0]))
    usual = usual_at(belief.ph_course, time_s + ahead_s)
    if usual is None:
        rises = np.maximum(uniform(N, "pH unknown course") - _STAYS, 0.0) / (1.0 - _STAYS)
        then = ph + max(_AIR_PH - ph, 0.0) * rises * (1.0 - still)
    else:
        then = usual[1:, None] + (ph - usual[0]) * still
    return np.asarray(np.clip(then + wander, *_LIVABLE_PH))


def _temperature_then(belief: Belief, now_c: float, ahead_h: Array) -> Array:
    usual_c = None if belief.baseline is None else belief.baseline.usual_c
    if usual_c is None:
        usual_c = now_c
    then_c = usual_c + (now_c - usual_c) * np.exp(-ahead_h / _WARMED_H)
    return np.asarray(np.clip(then_c, *_LIVABLE_C))
