"""What each state shows: whether somebody is called, what the lamp does, where it is listed.

The usual table of ISA-18.2 (from memory), for a house instead of a control room: to call is to
send a message, the lamp is a hub's tile or a line of `afterfill alarm list`.
"""

from dataclasses import dataclass
from typing import Literal

from afterfill.records import AlarmState


@dataclass(frozen=True, slots=True)
class Annunciation:
    """`calls`: a person is to be called; `lamp`: what a glance sees; `listed`: among the alarms,
    apart with those that are put away, or nowhere."""

    calls: bool
    lamp: Literal["off", "flashing", "steady", "slow"]
    listed: Literal["alarms", "apart", "nowhere"]


ANNUNCIATION: dict[AlarmState, Annunciation] = {
    "normal": Annunciation(calls=False, lamp="off", listed="nowhere"),
    "unacknowledged": Annunciation(calls=True, lamp="flashing", listed="alarms"),
    "acknowledged": Annunciation(calls=False, lamp="steady", listed="alarms"),
    "returned-to-normal-unacknowledged": Annunciation(calls=False, lamp="slow", listed="alarms"),
    "shelved": Annunciation(calls=False, lamp="off", listed="apart"),
    "suppressed-by-design": Annunciation(calls=False, lamp="off", listed="apart"),
    "out-of-service": Annunciation(calls=False, lamp="off", listed="apart"),
}
