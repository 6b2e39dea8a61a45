"""The alarms about the computer and what it delivers. Delays: our judgement."""

from afterfill.alarms.definition import Definition, Steps

_STALLED = Definition(
    name="delivery-stalled",
    title="nothing is delivered",
    label="Delivery stalled",
    group="machine",
    severity="moderate",
    urgency="hours",
    on_delay_s=600.0,
    off_delay_s=60.0,
    why_delays="on: brokers and routers restart; off: one thing confirmed is delivery",
    cause="broker, database or messages have confirmed nothing for minutes",
    consequence="alarms may reach no one; nothing is lost meanwhile, the journal keeps it",
    time_to_respond="hours",
    steps=Steps(
        "run `afterfill check`: it says what is the matter",
        then=("look at the network, then at the server",),
    ),
)
_JOURNAL_FAILING = Definition(
    name="journal-failing",
    title="nothing could be recorded",
    label="Journal cannot be written",
    group="machine",
    severity="moderate",
    urgency="hours",
    why_delays="none: it is told when a second try has failed, and over when one succeeds",
    cause="the disk under the journal is full, read-only or failing",
    consequence=(
        "meanwhile nothing is recorded and alarms reach no one; what waits in memory is "
        "written when the disk takes it again, and is gone if the power fails before"
    ),
    time_to_respond="hours",
    steps=Steps(
        "free some space",
        then=(
            (
                "if `dmesg` tells that the card is failing or was made read-only, back up the "
                "journal and change the card"
            ),
            "look at the tank yourself until then",
        ),
    ),
    latches="it can only be told when it is over",
)
_JOURNAL_DAMAGED = Definition(
    name="journal-damaged",
    title="the journal was damaged",
    label="Journal was damaged",
    group="machine",
    severity="moderate",
    urgency="hours",
    why_delays="none: a damaged file does not mend itself",
    cause="what the card holds of the journal is not what was written: bits have changed",
    consequence=(
        "rows that do not match their checksum are left out; at a start a new journal goes on with "
        "what is sound, and what the message calls lost is in the damaged file only"
    ),
    time_to_respond="hours",
    steps=Steps(
        "if records were lost, log again what you did since yesterday, or restore a backup",
        then=("suspect the card and the power supply", "acknowledge"),
    ),
    latches="the new journal is sound at once, what was lost is not back",
)
_STORAGE_LOW = Definition(
    name="storage-low",
    title="the disk is nearly full",
    label="Storage low",
    group="machine",
    severity="minor",
    urgency="days",
    on_delay_s=300.0,
    off_delay_s=3600.0,
    why_delays="another program's large file may come and go",
    cause="the disk under the journal has less room than the journal will need",
    consequence="in the end nothing can be recorded, and nothing judged",
    time_to_respond="days",
    steps=Steps("free some space, or lower `[journal] max_mb`"),
)
_CLOCK_UNSURE = Definition(
    name="clock-unsure",
    title="the clock is not set",
    label="Clock not set",
    group="machine",
    severity="minor",
    urgency="days",
    on_delay_s=3600.0,
    why_delays="on: after a power cut the network needs its time; off: set is set",
    cause="nothing has set the clock since this start, or records are dated ahead of it",
    consequence="times may be wrong, intervals are not; what is old is not dropped",
    time_to_respond="days",
    steps=Steps(
        "connect to the network",
        then=("see whether a time daemon runs: `timedatectl`",),
    ),
)
_POWER_LOW = Definition(
    name="power-low",
    title="the Pi's power is low",
    label="Supply voltage low",
    group="machine",
    severity="moderate",
    urgency="days",
    why_delays="none: the firmware keeps what happened since the boot",
    cause="the Pi's supply voltage has fallen too low since it was started",
    consequence="it may stop at any time, and spoil its card",
    time_to_respond="days",
    steps=Steps(
        "use the supply made for this Pi and a short thick cable",
        then=("unplug what draws much",),
    ),
    latches="a dip is over at once, its cause is not",
)
MACHINE = (_STALLED, _JOURNAL_FAILING, _JOURNAL_DAMAGED, _STORAGE_LOW, _CLOCK_UNSURE, _POWER_LOW)
