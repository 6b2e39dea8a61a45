"""One tuning story of the bench, told: what happens, what was there, and what the fold made of it.

``python tests/bench/inference_story.py refill SEED [--from 3.5] [--to 8] [--every 5]`` (or
`quiet`, `top-off`) prints the story and then a line every few minutes: the true residual, the
probes, the estimate, and between the lines what was found. Hours count from the story's begin.
"""

import argparse
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from afterfill.records import (
    AlarmChange,
    Estimate,
    KitResult,
    Output,
    Reading,
    RefillSeen,
    Verdict,
    known_since_s,
)
from afterfill.tank import TankState, folded
from afterfill.tank_setup import tank_setup
from bench.laws import TUNING_LAWS
from bench.outcome import described
from bench.quiet_stories import quiet_story
from bench.refill_stories import refill_story, top_off_story
from bench.story import ZERO_S, Story, config_of
from bench.tanks import Played, played

STORIES = {"refill": refill_story, "quiet": quiet_story, "top-off": top_off_story}


def told(story: Story) -> Iterator[str]:
    """What is to happen."""
    yield f"{story.law}, {story.litres:.0f} L, {story.days:.1f} days"
    for pouring in story.pourings:
        yield f"  {pouring.begin_s / 3600:7.2f} h  water: {described(story, pouring)}"
    for fault in story.faults:
        hours = f"{fault.begin_s / 3600:.2f}-{fault.end_s / 3600:.2f} h"
        yield f"  {hours}  {fault.kind} {fault.size:.1f}"
    for moved in story.disturbances:
        yield f"  {moved.begin_s / 3600:7.2f} h  something moves the ORP by {moved.mv:.0f} mV"
    for at_s, mg_l in story.doses:
        yield f"  {at_s / 3600:7.2f} h  neutraliser for {mg_l:.2f} mg/L into the tank"
    for event in story.said:
        yield f"  {(event.time_s - ZERO_S) / 3600:7.2f} h  said: {event}"


def followed(story: Story, from_h: float, to_h: float, every_min: float) -> Iterator[str]:
    """What was there and what was made of it."""
    tank, setup, state = played(story), tank_setup(config_of(story), "t"), TankState()
    shown = {"ph": np.nan, "temperature": np.nan}
    for record in tank.inputs:
        at_s = known_since_s(record) - ZERO_S
        state, outputs = folded(setup, state, record, 60.0 * every_min)
        if isinstance(record, Reading) and record.value is not None:
            shown[record.quantity] = record.value
        if not from_h <= at_s / 3600.0 <= to_h:
            continue
        if isinstance(record, KitResult):
            yield f"{at_s / 3600:7.3f} h    {record}"
        for output in outputs:
            if isinstance(output, Estimate):
                yield _moment(tank, at_s, shown, output)
            elif text := _found(output):
                yield f"{at_s / 3600:7.3f} h    {text}"


def _moment(tank: Played, at_s: float, shown: dict[str, float], estimate: Estimate) -> str:
    index = min(int(np.searchsorted(tank.time_s, at_s + 1e-3)), tank.time_s.size) - 1
    low, middle, high = estimate.residual_mg_l
    return (
        f"{at_s / 3600:7.3f} h  truth {tank.residual[index]:.3f} (free {tank.free[index]:.3f})  "
        f"ORP {tank.orp_mv[index]:6.1f}  pH {shown['ph']:.2f}  {shown['temperature']:.2f} C  "
        f"residual {low:.3f} {middle:.3f} {high:.3f}  over limit {estimate.p_over_limit:.3f}"
        + (f"  blind: {estimate.why_blind}" if estimate.why_blind else "")
    )


def _found(output: Output) -> str:
    if isinstance(output, Verdict):
        moved = ", ".join(f"{e.source} {e.log_odds:+.1f}" for e in output.evidence)
        final = ", final" if output.final else ""
        return f"verdict {output.verdict} {output.probability:.3f}{final}: {moved}"
    if isinstance(output, RefillSeen):
        return f"refill {output.origin}, {100 * output.fraction.q50:.0f} %"
    if isinstance(output, AlarmChange):
        return f"alarm {output.alarm}: {output.state}"
    return ""


def main() -> None:
    """Tell one story."""
    asked = argparse.ArgumentParser(description=__doc__.split("\n")[0] if __doc__ else None)
    asked.add_argument("kind", choices=list(STORIES))
    asked.add_argument("seed", type=int)
    asked.add_argument("--from", dest="from_h", type=float, default=3.5)
    asked.add_argument("--to", dest="to_h", type=float, default=8.0)
    asked.add_argument("--every", type=float, default=5.0, help="minutes")
    options = asked.parse_args()
    story = STORIES[options.kind](options.seed, TUNING_LAWS)
    for line in told(story):
        print(line)
    for line in followed(story, options.from_h, options.to_h, options.every):
        print(line)


if __name__ == "__main__":
    main()
