"""What is asked at each moment by estimate, alarms and readiness alike, worked out once."""

import math
from typing import NamedTuple

from afterfill.inference.ammonia import free_of
from afterfill.inference.belief import Belief
from afterfill.inference.conditions import ph_at, temperature_at
from afterfill.inference.monitor import data_quality
from afterfill.inference.monitor.baseline import READY_S
from afterfill.inference.monitor.watch import is_undecided
from afterfill.records import Quantiles

_UNSEEN_PER_DAY = 0.03  # chance of an unannounced carry-over, while blind: judgement
_UNSEEN_LASTS_S = 6 * 3600.0  # how long chloramine stays in a stocked tank: judgement
_UNDECIDED_P = 0.04  # at least, for a day after a refill without an answer: judgement


class Present(NamedTuple):
    """One moment of a tank. `time_s` [Unix s]; `ph`, `temperature_c`: None where too old;
    `why_blind`: why the ORP cannot be used, None where it can; `learning_s`: quiet that must still
    be seen before a probe just met can be used [s], None where that is not what is missing;
    `p_over_limit`: probability that what was told of, suspected or missed while blind exceeds the
    limit; `free_ammonia_mg_l`: un-ionised [mg/L as N], None without pH or temperature."""

    time_s: float
    ph: float | None
    temperature_c: float | None
    why_blind: str | None
    learning_s: float | None
    p_over_limit: float
    free_ammonia_mg_l: Quantiles | None

    @property
    def sees(self) -> bool:
        """Whether the ORP can be used."""
        return self.why_blind is None


def present(belief: Belief, time_s: float) -> Present:
    """What is believed at `time_s` [Unix s]. A probe just met has no background to compare with,
    and so is blind as well."""
    why = data_quality.why_blind(belief.sight, time_s)
    learning_s = _to_go_s(belief) if why is None else None
    ph, temperature_c = ph_at(belief, time_s), temperature_at(belief, time_s)
    return Present(
        time_s,
        ph,
        temperature_c,
        why if learning_s is None else _learning(learning_s),
        learning_s,
        _p_over_limit(belief, time_s, unseen=why is not None),
        free_of(belief.ammonia, ph, temperature_c),
    )


def _to_go_s(belief: Belief) -> float | None:
    if belief.watch is not None:
        return None
    if belief.baseline is None:
        return READY_S
    return None if belief.baseline.ready() else belief.baseline.to_go_s()


def _learning(to_go_s: float) -> str:
    minutes = math.ceil(to_go_s / 60.0)
    return f"learning the quiet ORP of this tank: {minutes} min of quiet readings to go"


def _p_over_limit(belief: Belief, time_s: float, *, unseen: bool) -> float:
    holding, earlier = belief.holding, belief.earlier
    known = 0.0 if holding is None else holding.p_now
    if earlier is not None:
        known = max(known, earlier.p_now)
    if belief.past is not None and is_undecided(belief.past, time_s):
        known = max(known, _UNDECIDED_P)
    return max(known, _unseen(belief, time_s)) if unseen and belief.watch is None else known


def _unseen(belief: Belief, time_s: float) -> float:
    """While blind, a carry-over could have come and still be there."""
    since_s = time_s - (belief.sight.valid_s or time_s - _UNSEEN_LASTS_S)
    return _UNSEEN_PER_DAY * min(max(since_s, 600.0), _UNSEEN_LASTS_S) / 86400.0
