"""The life of one alarm after ISA-18.2 / IEC 62682: a pure state machine.

State names are those of the standard (as in OPC 10000-9, of which the definitions in 3.1 were
read, the rest is from memory). A condition may be True, False or None. None means that it cannot
be judged: it neither raises nor clears.
"""

from dataclasses import dataclass, replace

from afterfill.alarms.definition import Definition
from afterfill.records import AlarmState

# The states in which an alarm stands among the alarms: nothing is normal, and nothing is put away.
STANDING_STATES: frozenset[AlarmState] = frozenset(
    {"unacknowledged", "acknowledged", "returned-to-normal-unacknowledged"}
)
REMIND_EVERY_S = 86400.0  # an alarm out of service is told once a day; our judgement


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered of one alarm.

    `active` is the condition after its delays; `turning_s` is when the condition began to differ
    from it; `known` tells whether the condition could be judged last time. `latched`: the
    condition has gone, the alarm stays until it is acknowledged. `about`: what it was raised or
    judged for when that was told last. Times in Unix seconds.
    """

    active: bool = False
    acknowledged: bool = True
    turning_s: float | None = None
    shelved_until_s: float | None = None
    known: bool = True
    latched: bool = False
    suppressed_until_s: float | None = None
    suppressed_why: str = ""
    out_since_s: float | None = None
    out_why: str = ""
    reminded_s: float = 0.0
    about: str = ""


def state_of(memory: Memory) -> AlarmState:
    """The state in the standard's words; what a person must undo is shown before what ends by
    itself."""
    if memory.out_since_s is not None:
        return "out-of-service"
    if memory.suppressed_until_s is not None:
        return "suppressed-by-design"
    if memory.shelved_until_s is not None:
        return "shelved"
    if memory.active or memory.latched:
        return "acknowledged" if memory.acknowledged else "unacknowledged"
    return "normal" if memory.acknowledged else "returned-to-normal-unacknowledged"


def advance(
    definition: Definition, memory: Memory, condition: bool | None, time_s: float
) -> Memory:
    """The memory at `time_s` [s], given whether the condition holds."""
    memory = _reminded(_ended(memory, time_s), time_s)
    if condition is None or condition == memory.active:
        known = condition is not None
        settled = memory.known == known and memory.turning_s is None
        return memory if settled else replace(memory, known=known, turning_s=None)
    turning_s = time_s if memory.turning_s is None else memory.turning_s
    delay_s = definition.on_delay_s if condition else definition.off_delay_s
    if time_s - turning_s < delay_s:
        return replace(memory, known=True, turning_s=turning_s)
    turned = replace(memory, known=True, active=condition, turning_s=None)
    return _raised(turned) if condition else _returned(definition, turned)


def _raised(memory: Memory) -> Memory:
    """What is raised while it means nothing asks only if it still holds when that has ended."""
    meaningless = memory.out_since_s is not None or memory.suppressed_until_s is not None
    return replace(memory, latched=False, acknowledged=memory.acknowledged and meaningless)


def _returned(definition: Definition, memory: Memory) -> Memory:
    return replace(memory, latched=bool(definition.latches) and not memory.acknowledged)


def due_s(definition: Definition, memory: Memory) -> float | None:
    """When the memory may next change although its condition stays as it is; None never."""
    times = [memory.shelved_until_s, memory.suppressed_until_s]
    if memory.turning_s is not None:
        delay_s = definition.off_delay_s if memory.active else definition.on_delay_s
        times.append(memory.turning_s + delay_s)
    if memory.out_since_s is not None:
        times.append(memory.reminded_s + REMIND_EVERY_S)
    return min((time_s for time_s in times if time_s is not None), default=None)


# --- what a person does --------------------------------------------------------------------------


def acknowledge(memory: Memory) -> Memory:
    """The memory after a person acknowledged the alarm: a latch is let go."""
    return replace(memory, acknowledged=True, latched=False)


def shelve(memory: Memory, until_s: float) -> Memory:
    """The memory after a person put the alarm aside until `until_s` [s]."""
    return replace(memory, shelved_until_s=until_s)


def unshelve(memory: Memory) -> Memory:
    """The memory after a person took the alarm back before its shelf ended."""
    if memory.shelved_until_s is None:
        return memory
    return _asking_again(replace(memory, shelved_until_s=None))


def out_of_service(memory: Memory, time_s: float, why: str) -> Memory:
    """The memory after a person took the alarm out at `time_s` [s]; a second time changes the
    reason only."""
    since_s = time_s if memory.out_since_s is None else memory.out_since_s
    return replace(memory, out_since_s=since_s, out_why=why, reminded_s=time_s)


def return_to_service(memory: Memory) -> Memory:
    """The memory after a person brought the alarm back."""
    if memory.out_since_s is None:
        return memory
    return _asking_again(replace(memory, out_since_s=None, out_why="", reminded_s=0.0))


# --- what the design does ------------------------------------------------------------------------


def suppress(memory: Memory, until_s: float, why: str) -> Memory:
    """The memory when announced work makes the alarm meaningless until `until_s` [s].

    An alarm that asks for somebody already is never silenced so.
    """
    if not memory.acknowledged:
        return memory
    latest_s = max(until_s, memory.suppressed_until_s or until_s)
    return replace(memory, suppressed_until_s=latest_s, suppressed_why=why)


def _ended(memory: Memory, time_s: float) -> Memory:
    """Shelves and suppressions end by themselves."""
    if memory.shelved_until_s is not None and time_s >= memory.shelved_until_s:
        memory = _asking_again(replace(memory, shelved_until_s=None))
    if memory.suppressed_until_s is not None and time_s >= memory.suppressed_until_s:
        over = replace(memory, suppressed_until_s=None, suppressed_why="")
        memory = _asking_again(over)
    return memory


def _asking_again(memory: Memory) -> Memory:
    """An alarm that comes back and still holds asks for attention, acknowledged before or not."""
    return replace(memory, acknowledged=memory.acknowledged and not memory.active)


def _reminded(memory: Memory, time_s: float) -> Memory:
    if memory.out_since_s is None or time_s - memory.reminded_s < REMIND_EVERY_S:
        return memory
    return replace(memory, reminded_s=time_s)
