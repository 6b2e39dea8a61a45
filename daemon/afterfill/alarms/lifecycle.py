"""The life of one alarm after ISA-18.2 / IEC 62682: a pure state machine.

State names are those of the standard (as printed in OPC 10000-9, from memory). A condition may
be True, False or None. None means that it cannot be judged: it neither raises nor clears.
"""

from dataclasses import dataclass, replace

from afterfill.alarms.definitions import Definition
from afterfill.records import AlarmState


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered of one alarm.

    `active` is the condition after its delays; `turning_s` is when the condition began to differ
    from it; `known` tells whether the condition could be judged last time.
    """

    active: bool = False
    acknowledged: bool = True
    turning_s: float | None = None
    shelved_until_s: float | None = None
    known: bool = True


def state_of(memory: Memory) -> AlarmState:
    """The state in the standard's words."""
    if memory.shelved_until_s is not None:
        return "shelved"
    if memory.active:
        return "acknowledged" if memory.acknowledged else "unacknowledged"
    return "normal" if memory.acknowledged else "returned-to-normal-unacknowledged"


def advance(
    definition: Definition, memory: Memory, condition: bool | None, time_s: float
) -> Memory:
    """The memory at `time_s` [s], given whether the condition holds."""
    memory = _unshelved(memory, time_s)
    if condition is None or condition == memory.active:
        known = condition is not None
        settled = memory.known == known and memory.turning_s is None
        return memory if settled else replace(memory, known=known, turning_s=None)
    turning_s = time_s if memory.turning_s is None else memory.turning_s
    delay_s = definition.on_delay_s if condition else definition.off_delay_s
    if time_s - turning_s < delay_s:
        return replace(memory, known=True, turning_s=turning_s)
    acknowledged = False if condition else memory.acknowledged
    return replace(memory, known=True, active=condition, acknowledged=acknowledged, turning_s=None)


def acknowledge(memory: Memory) -> Memory:
    """The memory after a person acknowledged the alarm."""
    return replace(memory, acknowledged=True)


def shelve(memory: Memory, until_s: float) -> Memory:
    """The memory after a person put the alarm aside until `until_s` [s]."""
    return replace(memory, shelved_until_s=until_s)


def _unshelved(memory: Memory, time_s: float) -> Memory:
    """Shelving ends by itself; an alarm that still holds asks for attention again."""
    if memory.shelved_until_s is None or time_s < memory.shelved_until_s:
        return memory
    acknowledged = memory.acknowledged and not memory.active
    return replace(memory, shelved_until_s=None, acknowledged=acknowledged)
