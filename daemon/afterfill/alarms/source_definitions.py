"""The alarms about the water that comes in. Delays: our judgement."""

from afterfill.alarms import messages
from afterfill.alarms.definition import Definition, Steps

_TEST_IT = (
    "a DPD test of the source's own water, total and free chlorine, before anything is put into "
    "it: `afterfill log source-test --total-chlorine VALUE --free-chlorine VALUE`. A second test "
    "that agrees with the first ends the alarm"
)
_CHANGED = Definition(
    name="source-changed",
    title="the source's water has changed",
    label="Source is not what it was",
    group="refill",
    severity="moderate",
    urgency="hours",
    why_delays="none: it is a test's word, or a refill's whose truth became known",
    cause="a test or a refill showed another level or kind of disinfectant than was believed: the "
    "utility has changed something, or a filter lets the raw water through",
    consequence="the usual dose of neutraliser may be too small for the next refill",
    time_to_respond="before the next refill",
    steps=Steps(
        "plan the next refill again (`afterfill plan`): it uses what was found",
        then=(
            "test the source once more and log it",
            "ask the utility what has changed and for how long",
            "write it into `[source.ID]`",
            "change the cartridge if there is a filter, and write the day into `cartridge_changed`",
        ),
        do_not=("pour by the dose that was right before",),
    ),
    sentence=messages.source_changed,
    confirm=_TEST_IT,
)
_TEST_OVERDUE = Definition(
    name="source-test-overdue",
    title="the source was not tested for long",
    label="Source test overdue",
    group="upkeep",
    severity="minor",
    urgency="days",
    why_delays="none: it counts days",
    cause="neither a test nor a refill has told of the source's water for half a year",
    consequence="a tap moves by 1.4 times in a year, and a cartridge wears out unseen: doses may "
    "be too small",
    time_to_respond="days",
    steps=Steps(
        "test the source's own water with DPD, total and free chlorine, and log it: `afterfill log "
        "source-test`"
    ),
    sentence=messages.source_test_overdue,
    confirm=_TEST_IT,
)
SOURCE = (_CHANGED, _TEST_OVERDUE)
