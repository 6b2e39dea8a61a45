"""What there is to say about one alarm: the record of its rationalisation."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from afterfill.alarms.priority import Severity, Urgency, priority_of, reason_of
from afterfill.records import Priority, ServiceWhat

Group = Literal[
    "water",  # what is in the tank
    "refill",  # how water is poured
    "probe",  # what the readings are worth
    "upkeep",  # what is due some day
    "machine",  # the computer and what it delivers; told on the first tank only
]


@dataclass(frozen=True, slots=True)
class Definition:
    """One alarm. Delays in seconds, 0 or more; `why_delays` gives their reason.

    `latches`: why the alarm stays until it is acknowledged although its condition has gone; empty
    where it does not. `suppressed_s`: for how long [s] work that somebody announced makes the
    alarm meaningless, by kind of work. The texts are shown wherever the alarm is shown.
    """

    name: str
    group: Group
    severity: Severity
    urgency: Urgency
    on_delay_s: float
    off_delay_s: float
    why_delays: str
    cause: str
    consequence: str
    time_to_respond: str
    action: str
    latches: str = ""
    suppressed_s: Mapping[ServiceWhat, float] = field(default_factory=dict)

    @property
    def priority(self) -> Priority:
        """As the matrix says."""
        return priority_of(self.severity, self.urgency)

    @property
    def why_priority(self) -> str:
        """The reason of the priority, in words."""
        return reason_of(self.severity, self.urgency)
