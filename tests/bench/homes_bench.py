"""Whether an all-clear can be believed, in homes unlike the filter's priors.

``python tests/bench/homes_bench.py [--set tuning|held-out] [--from SEED] [--refills 120] [--others
12] [--ageing 4] [--ranks 0] [--workers 2] [--keep FOLDER]`` prints the rows by which the time after
the alarm is judged, each with n of N and a 95 % interval, its bar and its goal; then what was said
with which probability beside how often it came true, and how often the truth was inside its
interval. `--ranks`: so many stories of `simulation_based_calibration.py` beside. `--keep`: each
home is kept in this folder, and one that lies there is not lived again, so that a long run can be
broken off, go on, or grow. What lies there was said by the program of then: a folder for each state
of it.

Seeds of `tuning` may be looked at while the filter is changed; those of `held-out`, whose probes
follow two further electrode laws, are for reporting only. Those from 100,000, 310,000, 700,000,
1,300,000, 1,500,000, 1,700,000 and 1,800,000 on have been seen: `--from` takes others.
"""

import argparse
import pickle
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing import get_context
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from bench.home_reliability import coverage_lines, reliability_lines
from bench.home_rows import BLIND_MIX, MIX, rows_of
from bench.home_stories import Life
from bench.home_truths import Lived, lived
from bench.inference_bench import lines
from bench.laws import LAWS, TUNING_LAWS
from bench.simulation_based_calibration import figure_of, ranked_stories

FIRST_SEED = {"tuning": 0, "held-out": 100_000}
LAWS_OF = {"tuning": TUNING_LAWS, "held-out": len(LAWS)}
OTHERS: tuple[Life, ...] = (
    "top-offs", "warm", "co2", "lamp", "half", "twice", "filtered", "told", "disturbed", "away",
    "holds",
)  # fmt: skip


def homes(
    first: int,
    laws: int,
    refills: int,
    others: int,
    ageing: int,
    workers: int = 1,
    keep: Path | None = None,
) -> list[Lived]:
    """So many homes with a refill, of each other life, and with a probe that ages, from this seed
    on; `keep`: the folder of those that were lived already."""
    numbers: dict[Life, int] = {"refill": refills, **dict.fromkeys(OTHERS, others)}
    numbers["ageing"] = ageing
    asked = [(life, first + n) for life, number in numbers.items() for n in range(number)]
    asked.sort(key=lambda one: one[0] != "ageing")  # the longest first
    one = partial(_one, laws=laws, keep=keep)
    if workers == 1:
        return [one(each) for each in asked]
    with ProcessPoolExecutor(workers, get_context("spawn")) as pool:
        return list(pool.map(one, asked))


def _one(asked: tuple[Life, int], laws: int, keep: Path | None) -> Lived:
    life, seed = asked
    if keep is None:
        return _without_inputs(lived(life, seed, laws))
    kept = keep / f"{life}-{seed}-{laws}.pickle"
    if not kept.exists():
        part = kept.with_suffix(".part")
        part.write_bytes(pickle.dumps(_without_inputs(lived(life, seed, laws))))
        part.rename(kept)
    home: Lived = pickle.loads(kept.read_bytes())  # ours, not a stranger's
    return home


def _without_inputs(home: Lived) -> Lived:
    """What was asked of it is said by now, and its readings are most of its weight."""
    home.truth.inputs.clear()
    return home


def printed(found: Sequence[Lived], ranks: int, first: int, workers: int) -> str:
    """All tables."""
    figures = rows_of(found)
    sighted, blind = ([h for h in found if h.life in lives] for lives in (MIX, BLIND_MIX))
    if ranks:
        figures.append(figure_of(ranked_stories(first, ranks, workers)))
    refills = [home for home in found if home.life == "refill"]
    return "\n".join(
        [*lines(figures), "", *reliability_lines(sighted, blind), "", *coverage_lines(refills)]
    )


def main() -> None:
    """Print the tables."""
    asked = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    asked.add_argument("--set", choices=list(FIRST_SEED), default="tuning")
    asked.add_argument("--from", dest="first", type=int, metavar="SEED")
    asked.add_argument("--refills", type=int, default=120)
    asked.add_argument("--others", type=int, default=12)
    asked.add_argument("--ageing", type=int, default=4)
    asked.add_argument("--ranks", type=int, default=0)
    asked.add_argument("--workers", type=int, default=2)
    asked.add_argument("--keep", type=Path, metavar="FOLDER")
    given = asked.parse_args()
    first = FIRST_SEED[given.set] if given.first is None else given.first
    if given.keep is not None:
        given.keep.mkdir(parents=True, exist_ok=True)
    laws = LAWS_OF[given.set]
    numbers = given.refills, given.others, given.ageing
    found = homes(first, laws, *numbers, given.workers, given.keep)
    print(
        f"{given.set}, seeds from {first}: {given.refills} refills, {given.others} homes of each "
        f"other life, {given.ageing} with a probe that ages"
    )
    print(printed(found, given.ranks, first, given.workers))


if __name__ == "__main__":
    main()
