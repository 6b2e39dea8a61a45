"""Stories of refills, drawn by seed: of 1-50 %, said or not, dosed anywhere from nothing to three
times the need, into the line, the bucket or the tank, before or too late."""

from dataclasses import replace

import numpy as np

from afterfill.records import Dose, Refill, RefillMode, Service
from bench.drawing import bare, between, chance, live_in, log_between, tap
from bench.story import MG_CL2_PER_ML, ZERO_S, Fault, Kit, Pouring, Story

_FIRST_H, _SHORT_H = 4.0, 12.0


def refill_story(seed: int, laws: int) -> Story:
    """One refill after four hours, or one a day or so over 2-10 days. More than half of them are
    not neutralised as they should be; two in five are not announced."""
    random = np.random.default_rng(1_000_000 + seed)
    days = between(random, 2, 10) if chance(random, 0.06) else 0.0
    story = bare(random, seed, 24.0 * days or _SHORT_H, laws)
    begin_s = _FIRST_H * 3600.0
    while begin_s < (story.hours - 7.0) * 3600.0:
        _pour(random, story, begin_s)
        begin_s += between(random, 20, 50) * 3600.0
    if days and chance(random, 0.5):
        top_off_daily(random, story)
    live_in(random, story)
    return story


def top_off_story(seed: int, laws: int) -> Story:
    """Tiny top-offs every day for 2-5 days, announced or not, and nothing else."""
    random = np.random.default_rng(3_000_000 + seed)
    story = bare(random, seed, 24.0 * between(random, 2, 5), laws)
    top_off_daily(random, story)
    live_in(random, story)
    return story


def top_off_daily(random: np.random.Generator, story: Story) -> None:
    """0.2-1 % of the volume about once a day, all of them treated alike."""
    announced, ratio = chance(random, 0.5), float(random.choice([0.0, 1.5, 2.5]))
    share, begin_s = log_between(random, 0.002, 0.01), between(random, 3600, 40_000)
    while begin_s < (story.hours - 2.0) * 3600.0:
        source = tap(random, story.disinfectant, story.tap_mg_l, ratio)
        pouring = Pouring(
            begin_s, begin_s + between(random, 30, 240), share, source, mode="add",
            announced=announced, ratio=ratio, raw=ratio == 0.0, tiny=True,
            need_mg_l=story.tap_mg_l,
        )  # fmt: skip
        story.pourings.append(pouring)
        if announced:
            story.said.append(_said(random, story, pouring, ratio))
        begin_s += 86400.0 + between(random, -3600, 3600)


def _pour(random: np.random.Generator, story: Story, begin_s: float) -> None:
    tap_mg_l = story.tap_mg_l * float(np.exp(0.15 * random.standard_normal()))
    pouring = _drawn(random, story, begin_s, tap_mg_l)
    if pouring.place in ("tank", "tank, late") and pouring.ratio > 0.0:
        _dose_tank(random, story, pouring)
    elif pouring.announced:
        story.said.append(_said(random, story, pouring, _claimed(random, pouring)))
    story.pourings.append(pouring)
    _around(random, story, pouring)


def _drawn(random: np.random.Generator, story: Story, begin_s: float, tap_mg_l: float) -> Pouring:
    share = (
        log_between(random, 0.01, 0.05) if chance(random, 0.2) else log_between(random, 0.05, 0.5)
    )
    mode: RefillMode = "add" if share < 0.25 and chance(random, 0.35) else "replace"
    ratio = _ratio(random)
    place = str(random.choice(["bucket", "line", "tank", "tank, late"], p=[0.4, 0.25, 0.25, 0.1]))
    source = tap(random, story.disinfectant, tap_mg_l, 0.0 if place.startswith("tank") else ratio)
    return Pouring(
        begin_s=begin_s,
        end_s=begin_s + 60.0 * between(random, 2, 25),
        share=share,
        source=source,
        mode=mode,
        through=mode == "replace" and chance(random, 0.4),
        announced=chance(random, 0.6),
        ratio=ratio,
        place=place,
        raw=ratio == 0.0,
        need_mg_l=tap_mg_l,
    )


def _ratio(random: np.random.Generator) -> float:
    """Neutraliser over need: forgotten, too little, or enough."""
    kind = random.random()
    if kind < 0.42:
        return 0.0
    return between(random, 0.2, 0.9) if kind < 0.56 else between(random, 1.02, 3.0)


def _dose_tank(random: np.random.Generator, story: Story, pouring: Pouring) -> None:
    """Into the tank itself, shortly before the water or some minutes after it."""
    late = pouring.place == "tank, late"
    at_s = pouring.end_s + between(random, 120, 2400) if late else pouring.begin_s - 60.0
    mg_l = pouring.ratio * pouring.need_mg_l * pouring.share
    story.doses.append((at_s, mg_l))
    if not pouring.announced:
        return
    if late or chance(random, 0.5):
        ml = mg_l * story.litres / MG_CL2_PER_ML
        story.said.append(_said(random, story, pouring, 0.0 if late else None))
        story.said.append(Dose(ZERO_S + at_s, "t", round(ml, 2)))
    else:
        story.said.append(_said(random, story, pouring, pouring.ratio))


def _claimed(random: np.random.Generator, pouring: Pouring) -> float | None:
    """Mostly the truth; forgotten doses are reported as given, as a doser that ran dry does."""
    ratio = pouring.ratio
    if chance(random, 0.2):
        return None
    return ratio if ratio >= 1.0 else float(random.choice([ratio, 1.8]))


def _said(
    random: np.random.Generator, story: Story, pouring: Pouring, ratio: float | None
) -> Refill:
    """What the keeper or the automation says, sometimes afterwards."""
    litres = pouring.share * story.litres
    at_s = ZERO_S + pouring.begin_s + between(random, -60, 60)
    late_s = between(random, 300, 3600) if chance(random, 0.1) else None
    minutes = (pouring.end_s - pouring.begin_s) / 60.0
    ml = None if ratio is None else round(ratio * pouring.need_mg_l * litres / MG_CL2_PER_ML, 2)
    return Refill(
        time_s=at_s,
        tank="t",
        mode=pouring.mode,
        litres=round(litres * float(np.exp(0.08 * random.standard_normal())), 2),
        minutes=round(minutes, 1) if chance(random, 0.7) else None,
        neutraliser_ml=ml,
        logged_s=None if late_s is None else at_s + late_s,
    )


def _around(random: np.random.Generator, story: Story, pouring: Pouring) -> None:
    """What goes with a refill: pump off, probe in the air, work, a kit, probes away."""
    begin_s, end_s = pouring.begin_s, pouring.end_s
    if chance(random, 0.3):
        mv = float(random.choice([-1, 1]) * random.uniform(2, 8))
        story.faults.append(Fault("orp step", begin_s - 120.0, end_s + 60.0, mv))
    if pouring.share > 0.25 and not pouring.through and chance(random, 0.3):
        story.faults.append(Fault("air", begin_s - 240.0, begin_s + 0.4 * (end_s - begin_s), -30.0))
    if chance(random, 0.1):
        story.said.append(Service(ZERO_S + begin_s - 300.0, "t", "cleaning"))
    if chance(random, 0.07):
        story.faults.append(outage(random, begin_s))
    if chance(random, 0.2):
        story.kits += [_kit(random, end_s) for _ in range(int(random.integers(1, 3)))]


def outage(random: np.random.Generator, begin_s: float) -> Fault:
    """The ORP or all probes away from before a refill at `begin_s` [s] until 1-6 h after it."""
    fault = Fault("orp outage", begin_s - between(random, 60, 3600), begin_s + 7200.0)
    fault = replace(fault, end_s=begin_s + between(random, 3600, 20_000))
    return replace(fault, kind="all outage") if chance(random, 0.5) else fault


def _kit(random: np.random.Generator, end_s: float) -> Kit:
    return Kit(
        at_s=end_s + between(random, 1200, 7200),
        chlorine=chance(random, 0.7),
        ammonia=chance(random, 0.5),
        wrong_zero=chance(random, 0.08),
        wrong_mg_l=between(random, 0.05, 0.2) if chance(random, 0.05) else 0.0,
    )
