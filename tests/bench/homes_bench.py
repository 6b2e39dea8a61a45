"""Whether an all-clear can be believed, in homes unlike the filter's priors.

``python tests/bench/homes_bench.py [--set tuning|held-out] [--refills 120] [--others 12]
[--workers 2]`` prints the rows by which the time after the alarm is judged, each with n of N and a
95 % interval, its bar and its goal. Seeds of `tuning` may be looked at while the filter is changed;
those of `held-out`, whose probes follow two further electrode laws, are for reporting only.
"""

import argparse
import sys
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing import get_context
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from bench.home_rows import rows_of
from bench.home_stories import Life
from bench.home_truths import Lived, lived
from bench.inference_bench import lines
from bench.laws import LAWS, TUNING_LAWS

FIRST_SEED = {"tuning": 0, "held-out": 100_000}
LAWS_OF = {"tuning": TUNING_LAWS, "held-out": len(LAWS)}
OTHERS: tuple[Life, ...] = ("top-offs", "warm", "co2", "lamp")


def homes(which: str, refills: int, others: int, workers: int = 1) -> list[Lived]:
    """So many homes with a refill, and so many of each other life."""
    first = FIRST_SEED[which]
    asked: list[tuple[Life, int]] = [("refill", first + n) for n in range(refills)]
    asked += [(life, first + n) for life in OTHERS for n in range(others)]
    one = partial(_one, laws=LAWS_OF[which])
    if workers == 1:
        return [one(each) for each in asked]
    with ProcessPoolExecutor(workers, get_context("spawn")) as pool:
        return list(pool.map(one, asked, chunksize=2))


def _one(asked: tuple[Life, int], laws: int) -> Lived:
    return lived(*asked, laws)


def main() -> None:
    """Print the table."""
    asked = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    asked.add_argument("--set", choices=list(FIRST_SEED), default="tuning")
    asked.add_argument("--refills", type=int, default=120)
    asked.add_argument("--others", type=int, default=12)
    asked.add_argument("--workers", type=int, default=2)
    given = asked.parse_args()
    found = homes(given.set, given.refills, given.others, given.workers)
    print(f"{given.set}: {given.refills} refills, {given.others} homes of each other life")
    print("\n".join(lines(rows_of(found))))


if __name__ == "__main__":
    main()
