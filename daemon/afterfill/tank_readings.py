"""What each probe said last, and when it was met."""

from dataclasses import replace

from afterfill.alarms import rules
from afterfill.records import Quantity, Reading
from afterfill.tank_lending import is_lent
from afterfill.tank_setup import TankSetup
from afterfill.tank_state import AlarmContext, LastValue, TankState

_IMPOSSIBLE = ("out-of-range", "power-up-value")  # an answer, and none that can be true


def last_values(setup: TankSetup, state: TankState, reading: Reading) -> dict[Quantity, LastValue]:
    """What each probe said last, after `reading`."""
    time_s, value, quantity = reading.time_s, reading.value, reading.quantity
    last = dict(state.last_values) or {q: LastValue(time_s) for q in setup.every_s}
    if is_lent(state, quantity, time_s):  # it shows a cup: that it spoke, and no more
        return {**last, quantity: LastValue(time_s)}
    old = last.get(quantity) or LastValue(time_s)
    if value is not None:
        since_s = old.since_s if value == old.value else time_s
        last[quantity] = LastValue(time_s, value, since_s, rules.is_odd(quantity, value))
    else:
        last[quantity] = old._replace(odd=reading.invalid in _IMPOSSIBLE)
    return last


def met(setup: TankSetup, state: TankState, reading: Reading) -> AlarmContext:
    """The days until a probe is due count from its first reading."""
    maintained_s = state.context.maintained_s
    if reading.quantity in maintained_s:
        return state.context
    met: dict[str, float] = dict.fromkeys([*setup.every_s, reading.quantity], reading.time_s)
    met_s = reading.time_s if state.context.met_s is None else state.context.met_s
    return replace(state.context, maintained_s={**met, **maintained_s}, met_s=met_s)
