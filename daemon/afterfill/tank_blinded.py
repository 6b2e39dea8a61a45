"""A tank after the inference failed on a record: blind, and saying so, with all else kept."""

from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

from afterfill.inference.ammonia import unmet
from afterfill.inference.belief import Belief
from afterfill.inference.calibration.learnt import Learnt
from afterfill.inference.monitor import data_quality
from afterfill.records import Input, known_since_s
from afterfill.tank_state import TankState

_WHY = "the inference failed and begins again from new readings"


def blinded(state: TankState, record: Input, error: Exception) -> TankState:
    """The state after `record`, on which the inference failed with `error`. What was believed of
    the water is gone, so the ORP counts as unsettled, as after work on the probe; what was learnt
    of probe and ammonia stays if it is sound."""
    time_s, old = known_since_s(record), state.belief
    belief = Belief(
        sight=data_quality.unsettled(data_quality.Sight(), time_s, _WHY),
        learnt=old.learnt if _is_finite(old.learnt) else Learnt(),
        ammonia=old.ammonia if _is_finite(old.ammonia) else unmet(),
        ph=old.ph,
        temperature=old.temperature,
    )
    said = f"{type(error).__name__}: {error}"
    return state._replace(belief=belief, failures=state.failures + 1, failure=said)


def _is_finite(value: Any) -> bool:  # noqa: ANN401 - any field of the state
    if is_dataclass(value):
        return all(_is_finite(getattr(value, f.name)) for f in fields(value))
    if isinstance(value, tuple):
        return all(_is_finite(inner) for inner in value)
    if isinstance(value, float | np.ndarray):
        return bool(np.all(np.isfinite(value)))
    return True
