"""What each alarm means: its delays, and the record of why it exists (ISA-18.2 rationalisation).

The figures of delay and deadband are our own judgement unless a source stands beside them; they
are kept here, in one table, so that a keeper can argue with them.
"""

from dataclasses import dataclass

from afterfill.records import Priority


@dataclass(frozen=True, slots=True)
class Definition:
    """One alarm. Delays in seconds; `cause` to `action` are shown wherever the alarm is shown."""

    name: str
    priority: Priority
    on_delay_s: float
    off_delay_s: float
    cause: str
    consequence: str
    time_to_respond: str
    action: str


RESIDUAL_OXIDANT = Definition(
    name="residual-oxidant",
    priority="high",
    on_delay_s=0.0,  # the filter already weighs noise against a carry-over; minutes count
    off_delay_s=600.0,
    cause="disinfectant of the source water is in the tank: neutraliser absent, short or used up",
    consequence="gill damage; fish gasp, dart or lie on the bottom, and can die within hours",
    time_to_respond="minutes",
    action=(
        "stop the refill; dose neutraliser for the whole tank's water, as its label says; run "
        "strong aeration; confirm with a DPD total-chlorine test. Do not add raw water, and do "
        "not mix chemicals. Ask a vet about fish that suffer."
    ),
)
FREE_AMMONIA = Definition(
    name="free-ammonia",
    priority="high",
    on_delay_s=300.0,
    off_delay_s=900.0,
    cause="total ammonia times its toxic share at this pH and temperature is over the limit",
    consequence="gill and nerve damage, faster in warm and alkaline water",
    time_to_respond="an hour",
    action=(
        "stop feeding; confirm with a total-ammonia test; change part of the water with treated "
        "water of the same pH and temperature. Do not raise pH or temperature. Ask a vet about "
        "fish that suffer."
    ),
)
PROBE_LOST = Definition(
    name="probe-lost",
    priority="medium",
    on_delay_s=15.0,  # after a restart the probes speak one after the other
    off_delay_s=30.0,
    cause="a probe has given no usable reading for several intervals",
    consequence="a carry-over may pass unseen",
    time_to_respond="before the next refill",
    action="look at the probe's cable, port and power; `afterfill probe read` shows what it says.",
)
CANNOT_SEE = Definition(
    name="cannot-see",
    priority="medium",
    on_delay_s=300.0,
    off_delay_s=300.0,
    cause="the ORP cannot be used to look for disinfectant now",
    consequence="no alarm can be raised for a carry-over: this is not an all-clear",
    time_to_respond="before the next refill",
    action="treat refills as unwatched: test with DPD after each, until the reason has gone.",
)

DEFINITIONS = {d.name: d for d in (RESIDUAL_OXIDANT, FREE_AMMONIA, PROBE_LOST, CANNOT_SEE)}
