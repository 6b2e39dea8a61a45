"""How well carry-overs are told from all else, on tanks whose laws the filter does not know.

``python tests/bench/inference_bench.py [--refills 300] [--days 200] [--set held-out|tuning]``
prints the table. Seeds of the set `tuning` may be looked at while the filter is changed; those of
`held-out` are for reporting only.
"""

import argparse
import sys
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from bench_scores import REFILL_S, Outcome, outcome_of, wilson
from bench_stories import quiet_story, refill_story

FIRST_SEED = {"tuning": 0, "held-out": 100_000}
LEVELS = {
    "fixed ORP threshold": [float(v) for v in range(250, 620, 10)],
    "threshold over own level": [float(v) for v in range(6, 160, 3)],
    "rate of change": [float(v) for v in range(4, 120, 2)],
    "CUSUM": [float(v) for v in np.geomspace(20, 20_000, 50)],
}


def _refill(seed: int) -> Outcome:
    return outcome_of(refill_story(seed), LEVELS)


def _quiet(seed: int) -> Outcome:
    return outcome_of(quiet_story(seed), LEVELS)


def measured(
    refills: int, days: int, first: int, workers: int = 2
) -> tuple[list[Outcome], list[Outcome]]:
    """Outcomes of so many refills and quiet days, in the order of their seeds."""
    with ProcessPoolExecutor(workers) as pool:
        poured = _shown(pool.map(_refill, range(first, first + refills), chunksize=4), refills)
        quiet = _shown(pool.map(_quiet, range(first, first + days), chunksize=4), days)
    return poured, quiet


def _shown(outcomes: Iterable[Outcome], total: int) -> list[Outcome]:
    if not sys.stderr.isatty():
        return list(outcomes)
    from rich.progress import track

    return list(track(outcomes, total=total, description="stories"))


def alarm_within(outcome: Outcome, minutes: float, from_s: float | None) -> bool:
    """Whether an alarm came at most so long after `from_s` (and not before the refill)."""
    return from_s is not None and any(
        REFILL_S - 120 <= a <= from_s + 60 * minutes for a in outcome.alarms_s
    )


def groups(poured: list[Outcome]) -> dict[str, list[Outcome]]:
    """The refills that each figure is about."""
    return {
        "free": [o for o in poured if o.disinfectant == "chlorine" and o.peak_mg_l >= 0.1],
        "combined": [o for o in poured if o.disinfectant == "chloramine" and o.peak_mg_l >= 0.3],
        "over": [o for o in poured if o.over_s is not None],
        "dosed": [o for o in poured if o.well_dosed and o.announced],
        "unannounced": [
            o
            for o in poured
            if not o.announced and o.raw and o.share >= 0.05 and o.peak_mg_l >= 0.2
        ],
    }


def figures(poured: list[Outcome], quiet: list[Outcome]) -> dict[str, tuple[float, str]]:
    """Every figure of the table: value, and its interval or size in words."""
    of = groups(poured)
    delays = [
        (min(a for a in o.alarms_s if a >= REFILL_S - 120) - o.over_s) / 60
        for o in of["over"]
        if o.over_s is not None and any(a >= REFILL_S - 120 for a in o.alarms_s)
    ]
    years = sum(o.days for o in quiet) / 365.25
    false = sum(len(o.alarms_s) for o in quiet)
    faulty = [o for o in quiet if o.faulty]
    found = {
        "free >= 0.1 mg/L, alarm within 15 min": _share(
            of["free"], lambda o: alarm_within(o, 15, o.over_s)
        ),
        "combined >= 0.3 mg/L, alarm within 20 min": _share(
            of["combined"], lambda o: alarm_within(o, 20, o.over_s)
        ),
        "median delay [min]": (
            float(np.median(delays)) if delays else float("nan"),
            f"of {len(delays)}",
        ),
        "false alarms per well-dosed announced refill": _share(
            of["dosed"], lambda o: bool(o.alarms_s)
        ),
        "false alarms per quiet tank-year": (
            false / years,
            f"{false} in {years:.2f} tank-years",
        ),
        "unannounced raw, alarm within 30 min": _share(
            of["unannounced"], lambda o: alarm_within(o, 30, o.over_s)
        ),
        "residual inside its 90 % interval": _cover([o.inside_residual for o in poured]),
        "free ammonia inside its 90 % interval": _cover([o.inside_nh3 for o in poured]),
        "CRPS against the mass balance alone": (
            sum(o.loss for o in poured) / max(sum(o.loss_prior for o in poured), 1e-12),
            "ratio",
        ),
        "probe faults and servicing called carry-over": _share(faulty, lambda o: bool(o.alarms_s)),
    }
    found["misses against the best simple detector"] = _against_detectors(poured, quiet)
    return found


def _share(of: list[Outcome], holds: Callable[[Outcome], bool]) -> tuple[float, str]:
    hits = sum(holds(o) for o in of)
    low, high = wilson(hits, len(of))
    return hits / max(len(of), 1), f"{hits} of {len(of)}; 95 %: {low:.3f} to {high:.3f}"


def _cover(inside: list[list[bool]]) -> tuple[float, str]:
    means = [float(np.mean(one)) for one in inside if one]
    total = [hit for one in inside for hit in one]
    return float(np.mean(total)) if total else float("nan"), (
        f"{len(total)} estimates; per refill {np.mean(means):.3f}" if means else "none"
    )


def _against_detectors(poured: list[Outcome], quiet: list[Outcome]) -> tuple[float, str]:
    """Misses at equal false alarms. Each detector gets the level that misses least among those
    with no more false alarms than the filter has, on these very stories: tuned in its favour."""
    positives = [o for o in poured if o.over_s is not None]
    negatives = [*quiet, *(o for o in poured if o.well_dosed)]
    ours_false = sum(bool(o.alarms_s) for o in negatives)
    ours_missed = sum(not alarm_within(o, 30, o.over_s) for o in positives)
    best, name = len(positives), "none"
    for detector, levels in LEVELS.items():
        for number in range(len(levels)):
            false = sum(o.detectors_s[detector][number][1] is not None for o in negatives)
            if false <= ours_false:
                missed = sum(not _caught(o, detector, number) for o in positives)
                if missed < best:
                    best, name = missed, f"{detector} at {levels[number]:g}"
    text = f"{ours_missed} of {len(positives)} missed; best simple: {best} ({name})"
    return ours_missed / max(best, 1), text + f", at {ours_false} of {len(negatives)} false"


def _caught(outcome: Outcome, detector: str, number: int) -> bool:
    at_s = outcome.detectors_s[detector][number][1]
    return (
        outcome.over_s is not None
        and at_s is not None
        and (REFILL_S - 120 <= at_s <= outcome.over_s + 1800)
    )


def main() -> None:
    """Print the table."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--refills", type=int, default=300)
    asked.add_argument("--days", type=int, default=200)
    asked.add_argument("--set", choices=list(FIRST_SEED), default="tuning")
    options = asked.parse_args()
    poured, quiet = measured(options.refills, options.days, FIRST_SEED[options.set])
    for name, (value, note) in figures(poured, quiet).items():
        print(f"{name:48s} {value:8.3f}   {note}")


if __name__ == "__main__":
    main()
