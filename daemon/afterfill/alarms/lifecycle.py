"""The life of one alarm after ISA-18.2 / IEC 62682: a pure state machine.

State names are those of the standard (as in OPC 10000-9, of which the definitions in 3.1 were
read, the rest is from status). A condition may be True, False or None. None means that it cannot
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
class AlarmStatus:
    """What is remembered of one alarm.

    `active` is the condition after its delays; `turning_s` is when the condition began to differ
    from it; `known` tells whether the condition could be judged last time. `latched`: the
    condition has gone, the alarm stays until it is acknowledged. `about`: what it was raised or
    judged for when that was told last, and `advice` what was said of a dose. Times in Unix seconds.
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
    advice: str = ""


def state_of(status: AlarmStatus) -> AlarmState:
    """The state in the standard's words; what a person must undo is shown before what ends by
    itself."""
    if status.out_since_s is not None:
        return "out-of-service"
    if status.suppressed_until_s is not None:
        return "suppressed-by-design"
    if status.shelved_until_s is not None:
        return "shelved"
    if status.active or status.latched:
        return "acknowledged" if status.acknowledged else "unacknowledged"
    return "normal" if status.acknowledged else "returned-to-normal-unacknowledged"


def advance(
    definition: Definition, status: AlarmStatus, condition: bool | None, time_s: float
) -> AlarmStatus:
    """The status at `time_s` [s], given whether the condition holds."""
    status = _reminded(_ended(status, time_s), time_s)
    if condition is None or condition == status.active:
        known = condition is not None
        settled = status.known == known and status.turning_s is None
        return status if settled else replace(status, known=known, turning_s=None)
    turning_s = time_s if status.turning_s is None else status.turning_s
    delay_s = definition.on_delay_s if condition else definition.off_delay_s
    if time_s - turning_s < delay_s:
        return replace(status, known=True, turning_s=turning_s)
    turned = replace(status, known=True, active=condition, turning_s=None)
    return _raised(turned) if condition else _returned(definition, turned)


def _raised(status: AlarmStatus) -> AlarmStatus:
    """What is raised while it means nothing asks only if it still holds when that has ended."""
    meaningless = status.out_since_s is not None or status.suppressed_until_s is not None
    return replace(status, latched=False, acknowledged=status.acknowledged and meaningless)


def _returned(definition: Definition, status: AlarmStatus) -> AlarmStatus:
    return replace(status, latched=bool(definition.latches) and not status.acknowledged)


def due_s(definition: Definition, status: AlarmStatus) -> float | None:
    """When the status may next change although its condition stays as it is; None never."""
    times = [status.shelved_until_s, status.suppressed_until_s]
    if status.turning_s is not None:
        delay_s = definition.off_delay_s if status.active else definition.on_delay_s
        times.append(status.turning_s + delay_s)
    if status.out_since_s is not None:
        times.append(status.reminded_s + REMIND_EVERY_S)
    return min((time_s for time_s in times if time_s is not None), default=None)


# --- what a person does --------------------------------------------------------------------------


def acknowledge(status: AlarmStatus) -> AlarmStatus:
    """The status after a person acknowledged the alarm: a latch is let go."""
    return replace(status, acknowledged=True, latched=False)


def shelve(status: AlarmStatus, until_s: float) -> AlarmStatus:
    """The status after a person put the alarm aside until `until_s` [s]."""
    return replace(status, shelved_until_s=until_s)


def unshelve(status: AlarmStatus) -> AlarmStatus:
    """The status after a person took the alarm back before its shelf ended."""
    if status.shelved_until_s is None:
        return status
    return _asking_again(replace(status, shelved_until_s=None))


def out_of_service(status: AlarmStatus, time_s: float, why: str) -> AlarmStatus:
    """The status after a person took the alarm out at `time_s` [s]; a second time changes the
    reason only."""
    since_s = time_s if status.out_since_s is None else status.out_since_s
    return replace(status, out_since_s=since_s, out_why=why, reminded_s=time_s)


def return_to_service(status: AlarmStatus) -> AlarmStatus:
    """The status after a person brought the alarm back."""
    if status.out_since_s is None:
        return status
    return _asking_again(replace(status, out_since_s=None, out_why="", reminded_s=0.0))


# --- what the design does ------------------------------------------------------------------------


def suppress(status: AlarmStatus, until_s: float, why: str) -> AlarmStatus:
    """The status when announced work makes the alarm meaningless until `until_s` [s].

    An alarm that asks for attention already is never silenced so.
    """
    if not status.acknowledged:
        return status
    latest_s = max(until_s, status.suppressed_until_s or until_s)
    return replace(status, suppressed_until_s=latest_s, suppressed_why=why)


def _ended(status: AlarmStatus, time_s: float) -> AlarmStatus:
    """Shelves and suppressions end by themselves."""
    if status.shelved_until_s is not None and time_s >= status.shelved_until_s:
        status = _asking_again(replace(status, shelved_until_s=None))
    if status.suppressed_until_s is not None and time_s >= status.suppressed_until_s:
        over = replace(status, suppressed_until_s=None, suppressed_why="")
        status = _asking_again(over)
    return status


def _asking_again(status: AlarmStatus) -> AlarmStatus:
    """An alarm that comes back and still holds asks for attention, acknowledged before or not."""
    return replace(status, acknowledged=status.acknowledged and not status.active)


def _reminded(status: AlarmStatus, time_s: float) -> AlarmStatus:
    if status.out_since_s is None or time_s - status.reminded_s < REMIND_EVERY_S:
        return status
    return replace(status, reminded_s=time_s)
