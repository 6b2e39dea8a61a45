"""The alarms about what the readings are worth, and when a probe or the neutraliser is due. Delays:
our judgement."""

from afterfill.alarms import messages
from afterfill.alarms.definition import Definition, Steps
from afterfill.alarms.water_definitions import PROBE_IN_HAND_S

_ORP_SETTLES_S = 3 * 3600.0  # as long as the inference lets a serviced probe settle

_LOST = Definition(
    name="probe-lost",
    title="a probe is silent",
    label="Probe lost",
    group="probe",
    severity="moderate",
    urgency="hours",
    on_delay_s=15.0,
    off_delay_s=30.0,
    why_delays="after a restart the probes speak one after the other",
    cause="a probe has given no usable reading for several intervals",
    consequence="a carry-over may pass unseen",
    time_to_respond="before the next refill",
    steps=Steps(
        "look at the probe's cable, port and power",
        then=("see what it says: `afterfill probe read`",),
    ),
    sentence=messages.silent_probes,
    confirm="`afterfill probe read`: it asks the probe now",
    suppressed_s={"probe": PROBE_IN_HAND_S},
)
_STUCK = Definition(
    name="probe-stuck",
    title="a probe stands still",
    label="Probe stands still",
    group="probe",
    severity="moderate",
    urgency="hours",
    off_delay_s=60.0,
    why_delays="none on: its rule has waited for hours already",
    cause="a probe shows the same figure, to the last digit, for longer than water does",
    consequence="what it shows is not the tank: a carry-over may pass unseen",
    time_to_respond="before the next refill",
    steps=Steps(
        "power the probe off and on",
        then=("look for a frozen stream", "move it and see if it follows"),
    ),
    sentence=messages.still_probes,
    suppressed_s={"probe": PROBE_IN_HAND_S},
)
_IMPLAUSIBLE = Definition(
    name="probe-implausible",
    title="a probe says what cannot be",
    label="Probe shows what cannot be",
    group="probe",
    severity="moderate",
    urgency="hours",
    on_delay_s=60.0,
    off_delay_s=300.0,
    why_delays="on: a single odd reply is a matter of the line; off: a loose plug comes and goes",
    cause="a probe shows what no fish tank has: broken, dry, unplugged or with a wrong setting",
    consequence="what hangs on it cannot be judged",
    time_to_respond="before the next refill",
    steps=Steps(
        "look whether it hangs in the water",
        then=("check plug, glass and `offset`", "calibrate it"),
    ),
    sentence=messages.odd_probes,
    suppressed_s={"probe": PROBE_IN_HAND_S},
)
_CANNOT_SEE = Definition(
    name="cannot-see",
    title="refills go unwatched",
    label="Disinfectant cannot be seen",
    group="probe",
    severity="moderate",
    urgency="hours",
    on_delay_s=300.0,
    off_delay_s=300.0,
    why_delays="on: a reading or two may be missing; off: sight that stays is sight",
    cause="the ORP cannot be used to look for disinfectant now",
    consequence="no alarm can be raised for a carry-over: this is not an all-clear",
    time_to_respond="before the next refill",
    steps=Steps("treat refills as unwatched: test with DPD after each, until the reason has gone"),
    sentence=messages.blindness,
    confirm="a DPD total-chlorine test after each refill tells what the probe cannot",
    judged_by=("orp",),
    suppressed_s={"probe": _ORP_SETTLES_S},
)
_CALIBRATION_DUE = Definition(
    name="calibration-due",
    title="a probe is due for calibration",
    label="Calibration due",
    group="upkeep",
    severity="minor",
    urgency="days",
    why_delays="none: it counts days",
    cause="a probe was neither calibrated nor serviced for long",
    consequence="pH drifts, and with it the ammonia figure; a dirty ORP probe answers late",
    time_to_respond="days",
    steps=Steps(
        "clean it as its maker says, hold it in its standards, and say so: `afterfill log service "
        "--what probe`"
    ),
    sentence=messages.due_probes,
)
_BOTTLE_LOW = Definition(
    name="bottle-low",
    title="the neutraliser runs out",
    label="Neutraliser runs out",
    group="upkeep",
    severity="minor",
    urgency="days",
    why_delays="none: it follows what is logged",
    cause="by what was logged, the bottle does not hold the next usual refill's neutraliser, or it "
    "has been open for longer than it keeps",
    consequence="the next refill may go in with too little, or with neutraliser that has gone off",
    time_to_respond="before the next refill",
    steps=Steps(
        "buy or open a bottle and say so: `afterfill log stock --what opened --neutraliser-ml 250`",
        then=(
            "if more is there than it says, count it all: `afterfill log stock --what counted "
            "--neutraliser-ml 120`",
        ),
        do_not=("refill with less neutraliser than the plan says",),
    ),
    sentence=messages.bottle,
)
PROBE = (_LOST, _STUCK, _IMPLAUSIBLE, _CANNOT_SEE, _CALIBRATION_DUE, _BOTTLE_LOW)
