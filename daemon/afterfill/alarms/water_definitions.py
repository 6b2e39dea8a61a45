"""The alarms about the water and about how it is poured.

The figures of delay are our own judgement unless a source stands beside them; they are kept in
tables like this one, so that a keeper can argue with them. That pH and temperature should not
step in a refill is common practice, no source.
"""

from afterfill.alarms import messages
from afterfill.alarms.definition import Definition, Steps
from afterfill.chemistry.kits import DPD_INTERFERES

PROBE_IN_HAND_S = 3600.0  # cleaned, held in two standards, rinsed, back: our judgement
_TANK_WORK_S = 3600.0  # feeding and cleaning move an ORP for about an hour; our judgement

# What a home kit sees (0.1 mg/L of chlorine): common practice, no source.
CHLORINE_TEST = (
    "a DPD total-chlorine test of the tank. Pink confirms it: go on with the steps above. No pink "
    "makes it less likely, but a home kit sees no less than about 0.1 mg/L, and fish are harmed "
    f"by less: test again in 15 minutes. {DPD_INTERFERES}. Tell afterfill either result: "
    "`afterfill log kit --total-chlorine VALUE`"
)
_AMMONIA_TEST = (
    "a total-ammonia test of the tank. A value much below what is believed ends the alarm, a value "
    "above it makes it more urgent. After a neutraliser that binds ammonia a Nessler test tells "
    "nothing. Tell afterfill: `afterfill log kit --total-ammonia VALUE`"
)

RESIDUAL_OXIDANT = Definition(
    name="residual-oxidant",
    title="disinfectant in the water",
    label="Disinfectant over its limit",
    danger=True,
    group="water",
    severity="severe",
    urgency="minutes",
    off_delay_s=600.0,
    why_delays=(
        "none on: noise is weighed before the probability is given, and minutes count; off: the "
        "probability wavers while a residual fades"
    ),
    cause="disinfectant of the source water is in the tank: neutraliser absent, short or used up",
    consequence="gill damage; fish gasp, dart or lie on the bottom, and can die within hours",
    time_to_respond="minutes",
    steps=Steps(
        "stop the refill",
        dose="dose neutraliser for the whole tank's water, as its label says",
        then=("run strong aeration", "confirm with a DPD total-chlorine test"),
        do_not=("add raw water", "mix chemicals"),
        vet=True,
    ),
    sentence=messages.oxidant,
    advise=messages.dose,
    confirm=CHLORINE_TEST,
    estimated=True,
    latches="gills show their harm hours after the residual has gone: a person must look",
)
_RESIDUAL_POSSIBLE = Definition(
    name="residual-oxidant-possible",
    title="disinfectant possibly in the water",
    label="Disinfectant possible",
    group="water",
    severity="moderate",
    urgency="hours",
    on_delay_s=300.0,
    off_delay_s=900.0,
    why_delays="on: the first readings of a watch swing; off: a probability between two words",
    cause="a residual over the limit is possible, and neither sure nor ruled out",
    consequence="if it is there, gill damage",
    time_to_respond="an hour",
    steps=Steps(
        "test with DPD, total chlorine, and log the result",
        then=("aerate", "wait for the next word"),
    ),
    sentence=messages.oxidant,
    advise=messages.dose_if_confirmed,
    confirm=CHLORINE_TEST,
    estimated=True,
)
FREE_AMMONIA = Definition(
    name="free-ammonia",
    title="toxic ammonia",
    label="Ammonia over its limit",
    danger=True,
    group="water",
    severity="severe",
    urgency="hours",
    on_delay_s=300.0,
    off_delay_s=900.0,
    why_delays="a pH reading that jumps moves the figure at once, the water does not",
    cause="total ammonia times its toxic share at this pH and temperature is over the limit",
    consequence="gill and nerve damage, faster in warm and alkaline water",
    time_to_respond="an hour",
    steps=Steps(
        "stop feeding",
        then=(
            "confirm with a total-ammonia test",
            "change part of the water with treated water of the same pH and temperature",
        ),
        do_not=("raise pH or temperature",),
        vet=True,
    ),
    sentence=messages.ammonia,
    advise=messages.no_dose_for_ammonia,
    confirm=_AMMONIA_TEST,
    estimated=True,
    judged_by=("ph", "temperature"),
    suppressed_s={"probe": PROBE_IN_HAND_S},  # the pH is that of a standard
)
_AMMONIA_FORECAST = Definition(
    name="free-ammonia-forecast",
    title="toxic ammonia to come",
    label="Ammonia over its limit within a day",
    group="water",
    severity="moderate",
    urgency="hours",
    on_delay_s=1800.0,
    off_delay_s=3600.0,
    why_delays="it is worked out every half hour: two in a row",
    cause="as the filter is believed to work, un-ionised ammonia passes its limit within a day",
    consequence="gill and nerve damage from then on",
    time_to_respond="within the day",
    steps=Steps(
        "feed less or nothing today",
        then=(
            "confirm with a total-ammonia test and log it",
            "plan a change with treated water (`afterfill plan`)",
        ),
    ),
    sentence=messages.ammonia_forecast,
    confirm=_AMMONIA_TEST,
    estimated=True,
    judged_by=("ph", "temperature"),
    suppressed_s={"probe": PROBE_IN_HAND_S + 1800.0},  # and until it is worked out again
)
_NEUTRALISER_EXCESS = Definition(
    name="neutraliser-excess",
    title="too much neutraliser",
    label="Too much neutraliser",
    group="water",
    severity="moderate",
    urgency="hours",
    why_delays="none: it is arithmetic of what was logged",
    cause="more than twice what the whole tank full of the strongest source water would need",
    consequence="some agents take up oxygen (common practice, no source); fish may gasp",
    time_to_respond="an hour",
    steps=Steps(
        "run strong aeration",
        then=("check the bottle's strength and what you logged",),
        do_not=("dose more",),
    ),
    sentence=messages.surplus,
    advise=messages.no_more_dose,
)
_PH = Definition(
    name="ph",
    title="pH outside its limits",
    label="pH outside its limits",
    group="water",
    severity="moderate",
    urgency="hours",
    on_delay_s=900.0,
    off_delay_s=900.0,
    why_delays="fish bear a quarter of an hour; lights, feeding and bubbles move a probe for less",
    cause="pH lies outside the tank's limits",
    consequence="stress; ammonia grows more toxic as pH rises, some metals as it falls",
    time_to_respond="hours",
    steps=Steps(
        "check with a second method",
        then=(
            "look at aeration and the source water's alkalinity",
            "correct slowly, by changing water",
        ),
        do_not=("pour in acid or base",),
    ),
    sentence=messages.ph,
    confirm="a pH test of the tank with another instrument",
    judged_by=("ph",),
    suppressed_s={"probe": PROBE_IN_HAND_S},
)
_TEMPERATURE = Definition(
    name="temperature",
    title="temperature outside its limits",
    label="Temperature outside its limits",
    group="water",
    severity="moderate",
    urgency="hours",
    on_delay_s=600.0,
    off_delay_s=900.0,
    why_delays="a litre of tank water moves slowly: ten minutes are no accident of the probe",
    cause="temperature lies outside the tank's limits: heater, chiller, room or refill",
    consequence="stress; too warm, and the water holds little oxygen",
    time_to_respond="hours",
    steps=Steps(
        "feel the water",
        then=(
            "look at the heater and its plug",
            "unplug a heater that does not switch off",
            "bring it back slowly",
            "aerate when it is warm",
        ),
    ),
    sentence=messages.temperature,
    confirm="a thermometer in the tank",
    judged_by=("temperature",),
    suppressed_s={"probe": PROBE_IN_HAND_S},
)
WATER = (
    RESIDUAL_OXIDANT, _RESIDUAL_POSSIBLE, FREE_AMMONIA, _AMMONIA_FORECAST, _NEUTRALISER_EXCESS,
    _PH, _TEMPERATURE,
)  # fmt: skip

_RUNNING_ON = Definition(
    name="refill-running-on",
    title="the refill does not stop",
    label="Refill runs on",
    group="refill",
    severity="severe",
    urgency="minutes",
    on_delay_s=60.0,
    off_delay_s=600.0,
    why_delays="on: two readings in a row; off: a heater pulls the temperature about",
    cause="the tank still drifts towards the source's temperature after the announced refill",
    consequence="more raw water than the dose was for, and a flood",
    time_to_respond="minutes",
    steps=Steps(
        "go and look: close the valve or pull the pump's plug",
        dose="dose for what came",
    ),
    sentence=messages.running_on,
    advise=messages.dose,
    judged_by=("temperature",),
    suppressed_s={"probe": PROBE_IN_HAND_S},
)
_SHOCK = Definition(
    name="refill-shock",
    title="the refill's water differs much",
    label="Refill changed the water too fast",
    group="refill",
    severity="moderate",
    urgency="hours",
    on_delay_s=120.0,
    why_delays="on: inflow that meets the probe before it has mixed",
    cause="one refill moved pH or temperature by more than fish should bear at once",
    consequence="stress, and sickness in the days after",
    time_to_respond="an hour",
    steps=Steps(
        "pour the rest slowly or not at all",
        then=("watch the fish", "temper the next refill's water"),
    ),
    sentence=messages.shock,
    judged_by=("ph", "temperature"),
    latches="it is over when the pour is, its harm is not",
    suppressed_s={"probe": PROBE_IN_HAND_S},
)
_UNANNOUNCED = Definition(
    name="refill-unannounced",
    title="water came that was not announced",
    label="Refill that was not announced",
    group="refill",
    severity="moderate",
    urgency="hours",
    why_delays="none: a refill is reported once it is more likely than not",
    cause="the readings look like a refill that was not announced: a valve, an automation, a hand",
    consequence="water may have come without neutraliser, and is judged with less sight",
    time_to_respond="an hour",
    steps=Steps(
        "ask who poured, and log it (`afterfill log refill`)",
        then=("look at the valves if it was no person", "test with DPD"),
    ),
    sentence=messages.unannounced,
    confirm=CHLORINE_TEST,
    judged_by=("orp",),
    latches="the watch ends by itself, the question who poured does not",
    suppressed_s={"feeding": _TANK_WORK_S, "cleaning": _TANK_WORK_S, "probe": PROBE_IN_HAND_S},
)
REFILL = (_RUNNING_ON, _SHOCK, _UNANNOUNCED)
