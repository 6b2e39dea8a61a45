"""Stories without a refill, drawn by seed: feeding and light always, and on most days one trouble
that is no water: work on the probe, faults of probe and line, cleaning."""

from collections.abc import Callable

import numpy as np

from afterfill.records import Service
from afterfill.simulation.virtual_tank import Disturbance
from bench.drawing import bare, between, chance, live_in
from bench.story import PROBE_FAULTS, ZERO_S, Fault, Story

_LONG_SHARE = 0.1
_TROUBLE_SHARE = 0.8
SERVICING = ("service", "hand")


def quiet_story(seed: int, laws: int) -> Story:
    """A day, or 2-10 days."""
    random = np.random.default_rng(2_000_000 + seed)
    days = between(random, 2, 10) if chance(random, _LONG_SHARE) else 1.0
    story = bare(random, seed, 24.0 * days, laws)
    live_in(random, story)
    for day in range(int(days)):
        if chance(random, _TROUBLE_SHARE):
            in_trouble(random, story, 86400.0 * day + between(random, 3, 18) * 3600.0)
    return story


def in_trouble(random: np.random.Generator, story: Story, at_s: float) -> None:
    """Something at `at_s` [s] that is no water: work on the probe, a fault, or cleaning."""
    kind = str(random.choice(list(_TROUBLES)))
    story.troubles.append((kind, at_s))
    _TROUBLES[kind](random, story, at_s)


def is_fault(kind: str) -> bool:
    """Whether a trouble is a fault of a probe or work on it (and not just life in a tank)."""
    return kind in SERVICING or kind in PROBE_FAULTS


def _handled(random: np.random.Generator, story: Story, at_s: float) -> None:
    story.faults.append(Fault("handled", at_s, at_s + between(random, 60, 900)))
    story.disturbances.append(Disturbance(at_s + 600, between(random, -15, 35), 9000.0))


def _serviced(random: np.random.Generator, story: Story, at_s: float) -> None:
    _handled(random, story, at_s)
    story.said.append(Service(ZERO_S + at_s, "t", "probe"))


def _air(random: np.random.Generator, story: Story, at_s: float) -> None:
    end_s, mv = at_s + between(random, 300, 7200), between(random, -150, 80)
    story.faults.append(Fault("air", at_s, end_s, mv))


def _stuck(random: np.random.Generator, story: Story, at_s: float) -> None:
    story.faults.append(Fault("stuck", at_s, at_s + between(random, 1, 5) * 3600.0))


def _frozen(random: np.random.Generator, story: Story, at_s: float) -> None:
    story.faults.append(Fault("frozen", at_s, at_s + between(random, 1, 5) * 3600.0))


def _swapped(random: np.random.Generator, story: Story, at_s: float) -> None:
    story.faults.append(Fault("swapped", at_s, at_s + between(random, 0.5, 4) * 3600.0))


def _other_tank(random: np.random.Generator, story: Story, at_s: float) -> None:
    story.faults.append(Fault("other tank", at_s, at_s + between(random, 0.5, 4) * 3600.0))


def _spikes(random: np.random.Generator, story: Story, at_s: float) -> None:
    story.faults.append(Fault("spikes", at_s, at_s + 21_600.0, between(random, 10, 80)))


def _drift(random: np.random.Generator, story: Story, at_s: float) -> None:
    story.faults.append(Fault("drift", at_s, story.hours * 3600.0, between(random, -60, 60)))


def _ph_step(random: np.random.Generator, story: Story, at_s: float) -> None:
    size = float(random.choice([-1, 1]) * random.uniform(0.1, 1.0))
    story.faults.append(Fault("ph step", at_s, at_s + between(random, 0.5, 6) * 3600.0, size))


def _temperature_step(random: np.random.Generator, story: Story, at_s: float) -> None:
    size = float(random.choice([-1, 1]) * random.uniform(0.5, 4.0))
    end_s = at_s + between(random, 0.3, 4) * 3600.0
    story.faults.append(Fault("temperature step", at_s, end_s, size))


def _cleaned(random: np.random.Generator, story: Story, at_s: float) -> None:
    story.disturbances.append(Disturbance(at_s, between(random, 15, 30), 5400.0))
    if chance(random, 0.5):
        story.said.append(Service(ZERO_S + at_s, "t", "cleaning"))


def _orp_away(random: np.random.Generator, story: Story, at_s: float) -> None:
    story.faults.append(Fault("orp outage", at_s, at_s + between(random, 0.1, 5) * 3600.0))


def _all_away(random: np.random.Generator, story: Story, at_s: float) -> None:
    story.faults.append(Fault("all outage", at_s, at_s + between(random, 0.1, 5) * 3600.0))


_TROUBLES: dict[str, Callable[[np.random.Generator, Story, float], None]] = {
    "service": _serviced,
    "hand": _handled,
    "air": _air,
    "stuck": _stuck,
    "frozen": _frozen,
    "swapped": _swapped,
    "other tank": _other_tank,
    "spikes": _spikes,
    "drift": _drift,
    "ph step": _ph_step,
    "temperature step": _temperature_step,
    "cleaning": _cleaned,
    "orp outage": _orp_away,
    "all outage": _all_away,
}
