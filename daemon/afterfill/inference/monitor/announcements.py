"""What an announced refill has to do with the water that is under watch already.

Automations repeat themselves, and a keeper logs later what the readings have shown by then. Neither
is new water: it amends the watch that runs.
"""

from dataclasses import replace
from typing import Literal

from afterfill.inference.model import priors
from afterfill.inference.monitor.watch import Watch
from afterfill.inference.setup import Pour

Relation = Literal["new", "suspected", "repeated", "amended"]
NEAR_S = 2400.0  # a suspicion begins within this of the pour that raised it; our judgement
_SLACK_S = 120.0  # clocks and words are off by this much; our judgement


def relation(watching: Watch | None, pour: Pour) -> Relation:
    """`new`: other water. `suspected`: the water that the readings suggested. `repeated`: the same
    announcement once more. `amended`: the same water, with something new said of it."""
    if watching is None:
        return "new"
    old = watching.pour
    if not old.announced:
        return "suspected" if abs(old.time_s - pour.time_s) < NEAR_S else "new"
    if not _is_same_pour(old, pour):
        return "new"
    return "repeated" if amended(old, pour) == old else "amended"


def _is_same_pour(old: Pour, pour: Pour) -> bool:
    """Whether `pour` lies within the course of `old`, and comes from the same source."""
    minutes = priors.MINUTES if old.minutes is None else old.minutes
    ends_s = old.time_s + 60.0 * minutes + _SLACK_S
    return old.time_s - _SLACK_S <= pour.time_s <= ends_s and old.water == pour.water


def amended(old: Pour, pour: Pour) -> Pour:
    """The same pour after what was said later: the latest word on each figure counts, its
    beginning stays."""
    return replace(
        old,
        litres=old.litres if pour.litres is None else pour.litres,
        minutes=old.minutes if pour.minutes is None else pour.minutes,
        neutraliser_ml=old.neutraliser_ml if pour.neutraliser_ml is None else pour.neutraliser_ml,
    )
