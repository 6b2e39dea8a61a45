"""A probe that is out of the tank: its readings are those of a cup, and nothing is made of them.

Lent from the time at which it is told, for so many minutes at most, so that a routine that is
killed blinds the tank for a short time only. Told again, it is lent on; with 0 minutes it is back.
"""

from collections.abc import Mapping
from dataclasses import replace

from afterfill.alarms import manager
from afterfill.inference.belief import Belief
from afterfill.inference.monitor.data_quality import unsettled
from afterfill.records import AlarmChange, Quantity, Service
from afterfill.tank_state import TankState

# After it is back: what clings to it is rinsed off by the tank; our judgement. The ORP probe's
# own, far longer settling is kept by the inference.
SETTLES_S: Mapping[Quantity, float] = {"ph": 300.0, "temperature": 300.0, "orp": 0.0}


def is_lent(state: TankState, quantity: Quantity, time_s: float) -> bool:
    """Whether the probe of `quantity` is out of the tank at `time_s` [s], or settles after it."""
    return time_s < state.context.lent.get(quantity, 0.0)


def any_lent(state: TankState) -> bool:
    """Whether any probe was out of the tank at its last step."""
    at_s = state.belief.stepped_s or 0.0
    return any(at_s < until_s for until_s in state.context.lent.values())


def lent(
    state: TankState, work: Service, quantity: Quantity, minutes: float, time_s: float
) -> tuple[TankState, list[AlarmChange]]:
    """The state after a probe was taken out for `minutes`, or, with 0, was put back."""
    until_s = time_s + (60.0 * minutes if minutes > 0.0 else SETTLES_S[quantity])
    context = replace(state.context, lent={**state.context.lent, quantity: until_s})
    belief = _unsettled(state.belief, until_s, out=minutes > 0.0) if quantity == "orp" else None
    alarms, changes = manager.lent(state.alarms, work, quantity, time_s, until_s)
    state = state._replace(context=context, alarms=alarms, belief=belief or state.belief)
    return state, list(changes)


def _unsettled(belief: Belief, until_s: float, *, out: bool) -> Belief:
    """The tank's own level is found again after the probe is back. What was learnt of it stays."""
    why = "the ORP probe is out of the tank" if out else "the ORP probe was out of the tank"
    return belief._replace(sight=unsettled(belief.sight, until_s, why), baseline=None)
