"""Stories for the bench, drawn by seed: refills of every kind, and days without any."""

import numpy as np

from afterfill.records import Refill, Service
from afterfill.simulation.virtual_tank import Disturbance, Inflow
from afterfill.simulation.virtual_water import WaterState
from bench_tanks import MG_CL2_PER_ML, ZERO_S, Story

REFILL_H, REFILL_LENGTH_H = 4.0, 10.0
DAY_H = 24.0


def refill_story(seed: int) -> Story:
    """One refill after four hours. Half of them are not neutralised as they should be; a third
    are announced by nobody."""
    random = np.random.default_rng(1_000_000 + seed)
    story = _plain(random, seed, REFILL_LENGTH_H)
    share = float(np.exp(random.uniform(np.log(0.02), np.log(0.5))))
    litres, minutes = share * story.litres, float(random.uniform(3, 25))
    tap_mg_l = story.tap_mg_l * float(np.exp(0.15 * random.standard_normal()))
    ratio = float(random.choice([0.0, 0.0, 0.4, 1.3, 1.8, 2.5]))
    begin_s = REFILL_H * 3600.0
    place = str(random.choice(["bucket", "line", "tank"]))
    in_water = ratio if place != "tank" else 0.0
    source = _tap(random, story.disinfectant, tap_mg_l, in_water)
    story.inflows = [Inflow(begin_s, begin_s + 60 * minutes, share, source)]
    if place == "tank" and ratio > 0:
        story.doses = [(begin_s - 60.0, ratio * tap_mg_l * share)]
    story.disturbances = _feedings(random, REFILL_LENGTH_H)
    if random.random() < 0.67:
        story.said = [_said(random, story, litres, minutes, ratio)]
    return story


def quiet_story(seed: int) -> Story:
    """A day without a refill: feeding and light always, one trouble more on most days."""
    random = np.random.default_rng(2_000_000 + seed)
    story = _plain(random, seed, DAY_H)
    story.disturbances = _feedings(random, DAY_H)
    trouble = str(random.choice(["none", "service", "hand", "stuck", "spikes", "drift", "clean"]))
    at_s = float(random.uniform(3, 18)) * 3600.0
    if trouble in ("service", "hand"):
        story.handled = [(at_s, at_s + float(random.uniform(60, 900)))]
        story.disturbances.append(Disturbance(at_s + 600, float(random.uniform(-15, 35)), 9000.0))
    if trouble == "service":
        story.said = [Service(ZERO_S + at_s, "t", "probe")]
    if trouble == "stuck":
        story.stuck = [(at_s, at_s + float(random.uniform(1, 5)) * 3600.0)]
    story.spikes_per_day = 20.0 if trouble == "spikes" else 0.0
    story.drift_mv_per_day = float(random.uniform(-60, 60)) if trouble == "drift" else 0.0
    if trouble == "clean":
        story.disturbances.append(Disturbance(at_s, float(random.uniform(15, 30)), 5400.0))
    return story


def is_faulty(story: Story) -> bool:
    """Whether a probe fault or servicing is in the story."""
    return bool(story.handled or story.stuck or story.spikes_per_day)


def _plain(random: np.random.Generator, seed: int, hours: float) -> Story:
    return Story(
        seed=seed,
        hours=hours,
        every_s=float(random.choice([15.0, 30.0, 60.0])),
        litres=float(random.uniform(40, 400)),
        disinfectant=str(random.choice(["chlorine", "chloramine"])),
        tap_mg_l=float(np.exp(random.uniform(np.log(0.5), np.log(4.0)))),
    )


def _tap(
    random: np.random.Generator, disinfectant: str, tap_mg_l: float, ratio: float
) -> WaterState:
    left, surplus = max(1 - ratio, 0.0) * tap_mg_l, max(ratio - 1, 0.0) * tap_mg_l
    is_free = disinfectant == "chlorine"
    return WaterState(
        free=left if is_free else 0.0,
        combined=0.0 if is_free else left,
        neutraliser=surplus,
        ammonia=0.0 if is_free else 0.05 + (tap_mg_l - left) / 5.062,
        temperature_c=float(random.uniform(8, 26)),
        ph=float(random.uniform(7.0, 8.6)),
    )


def _said(
    random: np.random.Generator, story: Story, litres: float, minutes: float, ratio: float
) -> Refill:
    """What the keeper or the automation says: mostly the truth; forgotten doses are reported as
    given, as a doser that ran dry does."""
    claimed = ratio if ratio >= 1.0 else float(random.choice([ratio, 1.8]))
    ml = claimed * story.tap_mg_l * litres / MG_CL2_PER_ML
    known = random.random() < 0.8
    return Refill(
        time_s=ZERO_S + REFILL_H * 3600.0 + float(random.uniform(-60, 60)),
        tank="t",
        mode="replace",
        litres=round(litres * float(np.exp(0.08 * random.standard_normal())), 1),
        minutes=round(minutes, 1) if random.random() < 0.7 else None,
        neutraliser_ml=round(ml, 2) if known else None,
    )


def _feedings(random: np.random.Generator, hours: float) -> list[Disturbance]:
    number = int(random.poisson(hours / 10.0))
    return [
        Disturbance(
            float(random.uniform(0, hours * 3600)),
            float(random.choice([-1, 1], p=[0.3, 0.7]) * random.uniform(4, 20)),
            float(random.uniform(1200, 5400)),
        )
        for _ in range(number)
    ]
