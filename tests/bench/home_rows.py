"""The rows by which the homes are judged, in the order in which they are asked for."""

from collections.abc import Sequence

import numpy as np

from bench import home_questions as asked
from bench.figures import Figure
from bench.home_figures import (
    crashes_of,
    delay_of,
    moments_of,
    pinball_of,
    rate_of,
    ratio_of,
    share_of,
)
from bench.home_reliability import ELSEWHERE, miscalibration, odds_off, surely_not
from bench.home_stories import Life
from bench.home_truths import Lived, by_refill

MIX: tuple[Life, ...] = ("refill", "top-offs", "warm", "co2", "lamp")  # that words are held against
BLIND_MIX: tuple[Life, ...] = (*MIX, "away", "disturbed")
_LOST_HALF_OF_IT = 45 * 86_400.0  # from then on a probe that ages has lost 30-60 %
_WITHIN_MIN = 20.0


def rows_of(homes: Sequence[Lived]) -> list[Figure]:
    """All of them."""
    return [*_all_clear(homes), *_alarm(homes), *_quiet(homes), *_rest(homes)]


def _of(homes: Sequence[Lived], *lives: Life) -> list[Lived]:
    return [home for home in homes if home.life in lives]


def aged_refills(homes: Sequence[Lived]) -> list[Lived]:
    """Each refill after the probe had lost half of what it will lose."""
    refills = [r for home in _of(homes, "ageing") for r in by_refill(home)]
    return [r for r in refills if asked.begin_s(r) >= _LOST_HALF_OF_IT]


def _all_clear(homes: Sequence[Lived]) -> list[Figure]:
    mix, refills = _of(homes, *MIX), _of(homes, "refill")
    carried = [h for h in refills if asked.peak_mg_l(h) >= 0.1]
    over = [h for h in refills if asked.peak_mg_l(h) > 0.02]
    sure = [(h, said) for h in refills for said in (asked.first_sure(h),) if said is not None]
    aged = [h for h in aged_refills(homes) if asked.peak_mg_l(h) >= 0.1]
    return [
        share_of("SAFE after 20 min while >= 0.1 mg/L was there", carried, asked.safe_over,
                 0.02, 0.0),
        share_of("the same, probe aged by 30-60 %", aged, asked.safe_over, 0.02, 0.0),
        surely_not(mix, seen=True),
        surely_not(_of(homes, *BLIND_MIX), seen=False),
        *(odds_off(mix, low, high) for low, high in ELSEWHERE),
        share_of("clear though the peak was >= 0.1 mg/L", carried, asked.called_clear,
                 1 / 300, 0.001),
        share_of("the same, probe aged by 30-60 %", aged, asked.called_clear, 1 / 300, 0.001),
        share_of("high alarm ended within 6 h while >= 0.05 mg/L was there",
                 [h for h in carried if h.alarms_s], asked.ended_over, 0.03, 0.005),
        share_of("'surely below at' earlier than the truth", sure, asked.too_early, 0.08, 0.05),
        moments_of("minutes inside the 90 % interval, 0-6 h, truth > 0.02 mg/L", over,
                   asked.inside, (0.8, 0.97), (0.87, 0.93)),
        ratio_of("estimate over truth 1-2 h after an untreated refill, median",
                 [h for h in over if h.story.pourings[0].raw]),
        miscalibration(mix, final=True),
        miscalibration(mix, final=False),
    ]  # fmt: skip


def _alarm(homes: Sequence[Lived]) -> list[Figure]:
    refills = _of(homes, "refill")
    carried = [h for h in refills if asked.peak_mg_l(h) >= 0.1]
    chlorine = [h for h in carried if h.story.disinfectant == "chlorine"]
    chloramine = [h for h in carried if h.story.disinfectant == "chloramine"]
    unsaid = [h for h in carried if not asked.is_announced(h) and h.story.pourings[0].raw]
    aged = [h for h in aged_refills(homes) if asked.peak_mg_l(h) >= 0.1]
    within = asked.alarmed_within
    return [
        share_of("true free chlorine >= 0.1 mg/L: within 15 min",
                 [h for h in refills if float(np.max(h.truth.free)) >= 0.1], within(15), 0.97,
                 0.995, least=True),
        share_of("a tap of chlorine that brings total >= 0.1: within 15 min", chlorine,
                 within(15), 0.92, 0.98, least=True),
        share_of("chloramine >= 0.3: within 20 min",
                 [h for h in chloramine if asked.peak_mg_l(h) >= 0.3], within(20), 0.95, 0.99,
                 least=True),
        share_of("chloramine 0.1-0.3: at all",
                 [h for h in chloramine if asked.peak_mg_l(h) < 0.3], within(360), 0.85, 0.95,
                 least=True),
        share_of("unannounced raw refill that brings >= 0.2: within 30 min",
                 [h for h in unsaid if asked.peak_mg_l(h) >= 0.2], within(30), 0.85, 0.97,
                 least=True),
        delay_of("median delay, announced [min]", [h for h in carried if asked.is_announced(h)],
                 3.0, 2.0),
        delay_of("median delay, unannounced [min]", unsaid, 8.0, 5.0),
        share_of("probe aged by 30-60 %, total >= 0.1: within 20 min", aged, within(20), 0.92,
                 0.98, least=True),
    ]  # fmt: skip


def _quiet(homes: Sequence[Lived]) -> list[Figure]:
    dosed = [h for h in _of(homes, "refill")
             if asked.is_announced(h) and h.story.pourings[0].ratio >= 1.0]  # fmt: skip
    co2, no_ph = _of(homes, "co2"), [h for h in _of(homes, "co2") if not _has_ph(h)]
    still = [*_of(homes, "warm", "disturbed"), *(h for h in co2 if _has_ph(h))]
    ordinary = _of(homes, "refill", "top-offs", "warm")
    high, suspected = asked.high_alarms, asked.suspicions
    return [
        share_of("false high alarm per well-dosed announced refill", dosed, asked.alarmed,
                 0.005, 0.001),
        rate_of("false high alarms a year: warm, disturbed, CO2", still, high, 1.0, 0.3),
        rate_of("suspected refills a year: warm, disturbed, CO2", still, suspected, 4.0, 1.0),
        *(rate_of(f"{what} a year: {life}", _of(homes, life), count, bar, goal)
          for life in ("warm", "disturbed")
          for what, count, bar, goal in (("false high alarms", high, 1.0, 0.3),
                                         ("suspected refills", suspected, 4.0, 1.0))),
        rate_of("suspected refills a year: CO2", co2, suspected, 4.0, 1.0),
        rate_of("false high alarms a year: CO2, no pH probe", no_ph, high, 4.0, 1.0),
        share_of("high alarm at an oxidant told of or come thrice", _of(homes, "lamp", "told"),
                 asked.alarmed_later, 0.1, 0.02),
        share_of("of these: come thrice, nothing told", _of(homes, "lamp"), asked.alarmed_later,
                 0.1, 0.02),
        share_of("of these: told, from the second day on", _of(homes, "told"),
                 asked.alarmed_later, 0.1, 0.02),
        moments_of("share of time blind, ordinary tanks", ordinary, asked.is_blind, (0.0, 0.02),
                   (0.0, 0.005)),
        rate_of("cannot-see a year, ordinary tanks", ordinary, asked.blind_alarms, 12.0, 4.0),
    ]  # fmt: skip


def _has_ph(home: Lived) -> bool:
    return home.story.home is not None and "ph" in home.story.home.probes


def _rest(homes: Sequence[Lived]) -> list[Figure]:
    off = [h for h in _of(homes, "refill") if asked.source_off(h)]
    return [
        moments_of("daily raw top-offs: SAFE while over the limit, share of it",
                   _of(homes, "top-offs"), asked.safe_now, (0.0, 0.05), (0.0, 0.01)),
        *(share_of(f"peak inside its interval, source {what}",
                   [h for h in some if h.verdicts and asked.peak_mg_l(h) > 0.02],
                   asked.peak_inside, 0.82, 0.87, least=True)
          for what, some in (("configured at half", _of(homes, "half")),
                             ("configured at twice", _of(homes, "twice")),
                             ("off by 1.4 times", off))),
        share_of("filtered source at 1.5 mg/L, 25 % told of: within 20 min",
                 [h for h in _of(homes, "filtered") if asked.peak_mg_l(h) >= 0.1],
                 asked.alarmed_within(_WITHIN_MIN), 0.85, 0.95, least=True),
        share_of("filtered source that broke through, called clear",
                 [h for h in _of(homes, "filtered") if asked.peak_mg_l(h) >= 0.1],
                 asked.called_clear, 1 / 300, 0.001),
        share_of("filtered source that holds: false high alarm", _of(homes, "holds"),
                 asked.alarmed, 0.005, 0.001),
        share_of("filtered source that holds: called clear", _of(homes, "holds"),
                 asked.called_clear, 0.8, 0.95, least=True),
        *(moments_of(f"un-ionised ammonia inside its 90 % interval, {when}",
                     _of(homes, "refill"), asked.ammonia_inside(ahead_h), (0.8, 0.97), (0.87, 0.93))
          for ahead_h, when in ((0.0, "now"), (6.0, "6 h ahead"), (24.0, "a day ahead"))),
        pinball_of(_of(homes, "refill")),
        crashes_of(homes),
    ]  # fmt: skip
