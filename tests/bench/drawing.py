"""What every story of the bench is drawn from: the tank, its source, feeding, light and hands."""

import numpy as np

from afterfill.simulation.virtual_tank import Disturbance
from afterfill.simulation.virtual_water import WaterState
from bench.laws import LAWS
from bench.story import Fault, Story

_CHLORINE_TO_NITROGEN = 5.062  # mg Cl2 per mg N in monochloramine: ratio of molar masses
SCHEME_SEEDS = range(600_000, 900_000)  # tanks in which the full chloramine scheme rules


def between(random: np.random.Generator, low: float, high: float) -> float:
    """Uniform."""
    return float(random.uniform(low, high))


def log_between(random: np.random.Generator, low: float, high: float) -> float:
    """Uniform in the logarithm."""
    return float(np.exp(random.uniform(np.log(low), np.log(high))))


def chance(random: np.random.Generator, share: float) -> bool:
    """True in this share of draws."""
    return bool(random.random() < share)


def bare(random: np.random.Generator, seed: int, hours: float, laws: int) -> Story:
    """A tank with nothing in its story yet; its probe follows one of the first `laws` laws."""
    slow = chance(random, 0.3)
    return Story(
        seed=seed,
        hours=hours,
        every_s=float(random.choice([10.0, 15.0, 20.0, 30.0, 60.0])),
        litres=between(random, 40, 400),
        disinfectant=str(random.choice(["chlorine", "chloramine"], p=[0.6, 0.4])),
        tap_mg_l=log_between(random, 0.5, 4.0),
        law=LAWS[seed % laws],
        water="scheme" if seed in SCHEME_SEEDS else "mole for mole",
        mixing_s=log_between(random, 120, 600) if slow else between(random, 15, 120),
    )


def tap(
    random: np.random.Generator, disinfectant: str, tap_mg_l: float, ratio: float
) -> WaterState:
    """Source water that holds `tap_mg_l` before `ratio` of the neutraliser it needs."""
    left, surplus = max(1 - ratio, 0.0) * tap_mg_l, max(ratio - 1, 0.0) * tap_mg_l
    is_free = disinfectant == "chlorine"
    return WaterState(
        free=left if is_free else 0.0,
        combined=0.0 if is_free else left,
        neutraliser=surplus,
        ammonia=0.0 if is_free else 0.05 + (tap_mg_l - left) / _CHLORINE_TO_NITROGEN,
        temperature_c=between(random, 8, 26),
        ph=between(random, 7.0, 8.6),
    )


def live_in(random: np.random.Generator, story: Story) -> None:
    """Feeding now and then, light twice a day, a pump that steps the ORP."""
    story.disturbances += [
        Disturbance(
            between(random, 0, story.hours * 3600),
            float(random.choice([-1, 1], p=[0.3, 0.7]) * random.uniform(4, 20)),
            between(random, 1200, 5400),
        )
        for _ in range(int(random.poisson(story.hours / 10.0)))
    ]
    if chance(random, 0.4):
        story.faults += _lights(random, story.hours)
    if chance(random, 0.2):
        at_s = between(random, 0, story.hours * 3600)
        long_s = log_between(random, 600, 20_000)
        size_mv = float(random.choice([-1, 1]) * random.uniform(2, 9))
        story.faults.append(Fault("orp step", at_s, at_s + long_s, size_mv))


def _lights(random: np.random.Generator, hours: float) -> list[Fault]:
    first_s, mv = between(random, -43_200, 43_200), float(random.uniform(-6, 6))
    days = int(hours // 24) + 2
    return [Fault("orp step", first_s + 86400 * d, first_s + 86400 * d + 36_000, mv)
            for d in range(days)]  # fmt: skip
