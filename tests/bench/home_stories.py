"""Stories of homes, drawn by seed from what is published and not from the filter's own priors.

Decay: free chlorine meets a quick demand and then goes slowly (first order 0.01-2 per h: Powell
2000, bottle tests, secondary; US EPA 2001, treatment plant model, secondary; a stocked tank is
beyond them, our judgement); chloramine stays for hours to days (median 0.03 per h, 5-95 %
0.003-0.4: Garcia & Anderson 2018, abstract; Odimayomi 2026, abstract; our reading). The tap holds
half to twice of what was configured. Days warm the tank by up to 3 K, CO2 swings the pH of some.
"""

from collections.abc import Callable
from dataclasses import replace
from typing import Literal

import numpy as np

from afterfill.records import OXIDISING, Refill, Service
from afterfill.simulation.virtual_tank import Disturbance
from afterfill.simulation.virtual_water import TankHabits
from bench.drawing import bare, between, chance, live_in, log_between, tap
from bench.quiet_stories import in_trouble
from bench.refill_stories import outage
from bench.story import MG_CL2_PER_ML, ZERO_S, Home, Pouring, Story

Life = Literal[
    "refill", "top-offs", "warm", "co2", "lamp", "half", "twice", "filtered", "told", "disturbed",
    "ageing", "away", "holds",
]  # fmt: skip
_FIRST_H, _HOURS = 6.0, 36.0
_BROKE_THROUGH_MG_L = 1.5
_MOST_CONFIGURED_MG_L = 4.0  # what a tap may hold by law


def home_story(life: Life, seed: int, laws: int) -> Story:
    """A home's story: one refill and the day after it; a week of raw top-offs of 1-3 %; ten warm
    days; a week of CO2 cycles seen or unseen; six days with a lamp or ozone each day. A refill from
    a source configured at half or twice, or whose filter broke through or holds; a lamp, ozone or
    medicine that was told of on its first day; a week with one trouble of the probe; three months
    in which the probe loses 60 % of its response; a refill while the ORP is away."""
    random = np.random.default_rng([5_000_000, list(_LIVES).index(life), seed])
    story = bare(random, seed, _HOURS, laws)
    story.every_s = max(story.every_s, 20.0)
    story.water = "scheme" if chance(random, 0.3) else "mole for mole"
    story.home = _home(random, story)
    _LIVES[life](random, story)
    live_in(random, story)
    return story


def _home(random: np.random.Generator, story: Story) -> Home:
    combined = float(np.clip(0.03 * np.exp(1.575 * random.standard_normal()), 0.001, 1.0))
    habits = TankHabits(
        room_c=between(random, 22, 27),
        resting_ph=between(random, 6.4, 8.2),
        ph_swing=between(random, 0.02, 0.2),
        fed_mg_n_l_h=log_between(random, 0.0025, 0.02),
        filter_per_h=between(random, 0.1, 0.6),
        free_demand_per_h=log_between(random, 0.02, 3.0),
        combined_demand_per_h=combined,
        heater_per_h=between(random, 0.3, 1.5),
    )
    wrong = float(np.exp(0.45 * random.standard_normal()))
    kind = story.disinfectant if chance(random, 0.85) else "unknown"
    return Home(
        habits=habits,
        pool_mg_l=log_between(random, 0.03, 0.4),
        quick_per_mg_h=between(random, 5, 60),
        warm_k=between(random, 0.0, 3.0) if chance(random, 0.5) else 0.0,
        configured=kind,
        configured_mg_l=float(np.clip(wrong * story.tap_mg_l, 0.2, _MOST_CONFIGURED_MG_L)),
    )


def _refilled(
    random: np.random.Generator, story: Story, begin_s: float = 3600.0 * _FIRST_H
) -> None:
    """Untreated, short, or well dosed; announced or not, with or without a word of the dose."""
    share = log_between(random, 0.03, 0.5)
    ratio = float(random.choice([0.0, 0.5, 1.5, 2.5], p=[0.45, 0.1, 0.3, 0.15]))
    ratio = ratio if ratio != 0.5 else between(random, 0.2, 0.9)
    pouring = Pouring(
        begin_s, begin_s + 60.0 * between(random, 2, 25), share,
        tap(random, story.disinfectant, story.tap_mg_l, ratio), through=chance(random, 0.4),
        announced=chance(random, 0.65), ratio=ratio, raw=ratio == 0.0, need_mg_l=story.tap_mg_l,
    )  # fmt: skip
    story.pourings.append(pouring)
    if pouring.announced:
        claimed = None if chance(random, 0.3) else ratio
        story.said.append(_said(random, story, pouring, claimed))


def _said(
    random: np.random.Generator, story: Story, pouring: Pouring, ratio: float | None
) -> Refill:
    litres = pouring.share * story.litres
    ml = None if ratio is None else round(ratio * story.tap_mg_l * litres / MG_CL2_PER_ML, 2)
    minutes = round((pouring.end_s - pouring.begin_s) / 60.0, 1)
    return Refill(
        ZERO_S + pouring.begin_s + between(random, -60, 60), "t", pouring.mode,
        round(litres * float(np.exp(0.08 * random.standard_normal())), 2), minutes, ml,
    )  # fmt: skip


def _topped(random: np.random.Generator, story: Story) -> None:
    """Raw, each day, by a float or by hand; announced with a dose of none, or not at all."""
    story.hours, story.disinfectant = 24.0 * 6, "chloramine"
    said, share = chance(random, 0.5), log_between(random, 0.01, 0.03)
    source = tap(random, "chloramine", story.tap_mg_l, 0.0)
    for day in range(1, 6):
        begin_s = 86400.0 * day + between(random, -1800, 1800)
        pouring = Pouring(
            begin_s, begin_s + between(random, 60, 300), share, source, mode="add",
            announced=said, raw=True, tiny=True, need_mg_l=story.tap_mg_l,
        )  # fmt: skip
        story.pourings.append(pouring)
        if said:
            story.said.append(_said(random, story, pouring, 0.0))


def _warm(random: np.random.Generator, story: Story) -> None:
    story.hours = 24.0 * 10
    assert story.home is not None
    story.home = replace(story.home, warm_k=between(random, 1.5, 3.0))


def _co2(random: np.random.Generator, story: Story) -> None:
    """Plants and CO2 move the pH by 1.2 a day; half of them have no pH probe."""
    story.hours = 24.0 * 7
    assert story.home is not None
    habits = replace(story.home.habits, ph_swing=0.6, resting_ph=between(random, 6.6, 7.2))
    probes = story.home.probes if chance(random, 0.5) else ("orp", "temperature")
    story.home = replace(story.home, habits=habits, probes=probes)


def _lamp(random: np.random.Generator, story: Story) -> None:
    """An oxidant that is no refill: ozone or a lamp by a timer, the same hours each day."""
    story.hours = 24.0 * 6
    at_s, long_s = between(random, 0, 80_000), between(random, 2, 6) * 3600.0
    height_mv = between(random, 40, 60)
    for day in range(6):
        story.disturbances.append(Disturbance(at_s + 86400.0 * day, height_mv, long_s))


def _misconfigured(times: float) -> Callable[[np.random.Generator, Story], None]:
    """A refill from a source configured at so many times what it holds."""

    def refilled(random: np.random.Generator, story: Story) -> None:
        assert story.home is not None
        story.tap_mg_l = min(story.tap_mg_l, _MOST_CONFIGURED_MG_L / times)
        configured_mg_l = times * story.tap_mg_l
        kind = story.disinfectant
        story.home = replace(story.home, configured=kind, configured_mg_l=configured_mg_l)
        _refilled(random, story)

    return refilled


def _filtered(random: np.random.Generator, story: Story) -> None:
    """A source of no chlorine, as far as its keeper knows, at 1.5 mg/L: a quarter of the tank."""
    assert story.home is not None
    story.home, story.tap_mg_l = replace(story.home, configured_mg_l=0.0), _BROKE_THROUGH_MG_L
    begin_s = 3600.0 * _FIRST_H
    pouring = Pouring(
        begin_s, begin_s + 60.0 * between(random, 2, 25), 0.25,
        tap(random, story.disinfectant, story.tap_mg_l, 0.0), through=chance(random, 0.4),
        raw=True, need_mg_l=story.tap_mg_l,
    )  # fmt: skip
    story.pourings.append(pouring)
    story.said.append(_said(random, story, pouring, 0.0 if chance(random, 0.5) else None))


def _held(random: np.random.Generator, story: Story) -> None:
    """The same behind a filter that holds: the water has no chlorine."""
    _filtered(random, story)
    (poured,) = story.pourings
    source = replace(poured.source, free=0.0, combined=0.0)
    story.pourings = [replace(poured, source=source, raw=False)]


def _told(random: np.random.Generator, story: Story) -> None:
    """A lamp, ozone or a medicine, of which the keeper tells when it first comes."""
    _lamp(random, story)
    first_s = story.disturbances[0].begin_s
    what = OXIDISING[int(random.integers(len(OXIDISING)))]
    story.said.append(Service(ZERO_S + first_s + between(random, -300, 300), "t", what))


def _disturbed(random: np.random.Generator, story: Story) -> None:
    """How often a probe has trouble: our judgement."""
    story.hours = 24.0 * 7
    in_trouble(random, story, between(random, 1.0, 6.0) * 86400.0)


def _away(random: np.random.Generator, story: Story) -> None:
    """From within the hour before the refill until some hours after it."""
    _refilled(random, story)
    story.faults.append(outage(random, story.pourings[0].begin_s))


def _ageing(random: np.random.Generator, story: Story) -> None:
    """A refill each week or so; a reading each minute."""
    story.hours, story.every_s = 24.0 * 90, 60.0
    assert story.home is not None
    story.home = replace(story.home, response_lost=0.6)
    begin_s = between(random, 1, 4) * 86400.0
    while begin_s < (story.hours - 30.0) * 3600.0:
        _refilled(random, story, begin_s)
        begin_s += between(random, 5, 9) * 86400.0


_LIVES: dict[Life, Callable[[np.random.Generator, Story], None]] = {
    "refill": _refilled,
    "top-offs": _topped,
    "warm": _warm,
    "co2": _co2,
    "lamp": _lamp,
    "half": _misconfigured(0.5),
    "twice": _misconfigured(2.0),
    "filtered": _filtered,
    "told": _told,
    "disturbed": _disturbed,
    "ageing": _ageing,
    "away": _away,
    "holds": _held,
}
