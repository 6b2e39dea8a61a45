"""How far the working filter is from the posterior of its own model.

``python tests/bench/reference_bench.py [--stories 100] [--particles 100000] [--from SEED]
[--workers 2] [--file FILE]`` folds each story twice, with the usual numbers of particles and with
about so many in all, and prints how far `p_over_limit` and the quantiles of the residual are apart
while a refill is watched. The classes are the same, nothing is left out: what differs is the
filter's error, and what remains against the truth (`inference_bench.py`) is the model's. Goal: half
of the differences of the probability within 0.01, 99 % within 0.05.

With `--file` each story is written as a line when it is done, and not played again: a run that was
interrupted goes on. Stories of other numbers of particles in the same file are left alone. A filter
that has changed needs another file.
"""

import argparse
import json
import sys
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import asdict, dataclass, replace
from multiprocessing import get_context
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from afterfill.inference.model.hypotheses import N
from afterfill.records import Estimate, Input, Refill
from afterfill.tank import TankState, folded
from afterfill.tank_setup import TankSetup, tank_setup
from bench.laws import TUNING_LAWS
from bench.refill_stories import refill_story
from bench.story import config_of
from bench.tanks import played

_BEFORE_S, _AFTER_S = 3600.0, 3 * 3600.0
_LEAST_MG_L = 0.02  # quantiles are compared in units of this, or of themselves when larger
_POINTS = ("q05", "q50", "q95")


@dataclass(frozen=True)
class Apart:
    """Differences at the minutes of one story: of the probability, and of each quantile [share]."""

    seed: int
    p: list[float]
    quantiles: list[tuple[float, float, float]]


def apart(seed: int, particles: int, laws: int = TUNING_LAWS) -> Apart:
    """The story of a seed through the usual filter, and through one with about `particles`."""
    story = refill_story(seed, laws)
    inputs = list(played(story).inputs)
    usual = tank_setup(config_of(story), "t")
    many = replace(usual, inference=replace(usual.inference, particles=times_of(particles)))
    inputs = _around_the_pour(inputs, story.pourings[0].begin_s if story.pourings else None)
    pairs = zip(_watched(usual, inputs), _watched(many, inputs), strict=True)
    known = [(a, b) for a, b in pairs if a is not None and b is not None]
    return Apart(
        seed,
        [abs(a.p_over_limit - b.p_over_limit) for a, b in known],
        [_quantiles_apart(a, b) for a, b in known],
    )


def times_of(particles: int) -> int:
    """By what the usual numbers are multiplied to get about `particles` in all."""
    return max(round(particles / N), 1)


def _around_the_pour(inputs: list[Input], pour_s: float | None) -> list[Input]:
    """Not the whole day: the reference is slow."""
    said = [record.time_s for record in inputs if isinstance(record, Refill)]
    zero_s = inputs[0].time_s
    at_s = said[0] if said else zero_s + (pour_s or 4 * 3600.0)
    return [r for r in inputs if at_s - _BEFORE_S <= r.time_s <= at_s + _AFTER_S]


def _watched(setup: TankSetup, inputs: list[Input]) -> list[Estimate | None]:
    """Each minute's estimate; None where no refill is watched."""
    state, found = TankState(), list[Estimate | None]()
    for record in inputs:
        state, outputs = folded(setup, state, record)
        watched = state.belief.watch is not None
        found += [o if watched else None for o in outputs if isinstance(o, Estimate)]
    return found


def _quantiles_apart(a: Estimate, b: Estimate) -> tuple[float, float, float]:
    low, middle, high = (
        abs(one - other) / max(one, other, _LEAST_MG_L)
        for one, other in zip(a.residual_mg_l, b.residual_mg_l, strict=True)
    )
    return low, middle, high


def printed(found: list[Apart]) -> str:
    """The table, and the stories that are furthest apart."""
    p = np.concatenate([it.p for it in found])
    q = np.concatenate([np.array(it.quantiles).reshape(-1, 3) for it in found])
    rows = [f"{len(found)} stories, {p.size} minutes under watch"]
    rows.append(f"{'difference':<28} {'median':>8} {'90 %':>8} {'99 %':>8} {'most':>8}")
    columns = [("p_over_limit", p)]
    columns += [(f"residual {n} [share]", q[:, i]) for i, n in enumerate(_POINTS)]
    for name, values in columns:
        median, ninety, most = np.quantile(values, (0.5, 0.9, 0.99))
        rows.append(f"{name:<28} {median:8.4f} {ninety:8.4f} {most:8.4f} {values.max():8.4f}")
    share = float(np.mean(p <= 0.05))
    rows.append(f"within 0.05: {share:.3f} (goal 0.99); median goal 0.01")
    worst = sorted(found, key=lambda it: -max(it.p, default=0.0))[:5]
    rows.append("furthest: " + ", ".join(f"{it.seed} {max(it.p, default=0.0):.2f}" for it in worst))
    return "\n".join(rows)


def all_apart(
    seeds: Iterable[int], particles: int, workers: int, file: Path | None = None
) -> list[Apart]:
    """The stories of these seeds, in their order: from `file` where they are in it, else played
    and added to it one by one."""
    done = {} if file is None else {it.seed: it for it in _read(file, particles)}
    for it in _played([seed for seed in seeds if seed not in done], particles, workers):
        done[it.seed] = it
        if file is not None:
            with file.open("a") as lines:
                lines.write(json.dumps({"particles": particles, **asdict(it)}) + "\n")
    return [done[seed] for seed in seeds]


def _played(seeds: Sequence[int], particles: int, workers: int) -> Iterator[Apart]:
    if workers == 1:
        yield from (apart(seed, particles) for seed in seeds)
        return
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        for done in as_completed([pool.submit(apart, seed, particles) for seed in seeds]):
            yield done.result()


def _read(file: Path, particles: int) -> Iterator[Apart]:
    """The stories of a file, from which a last line that was cut off is taken."""
    text = file.read_text() if file.exists() else ""
    whole = text[: text.rfind("\n") + 1]
    if whole != text:
        file.write_text(whole)
    for line in whole.splitlines():
        it = json.loads(line)
        if it["particles"] == particles:
            low_middle_high = [(low, middle, high) for low, middle, high in it["quantiles"]]
            yield Apart(it["seed"], it["p"], low_middle_high)


def main() -> None:
    """See the module."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--stories", type=int, default=100)
    parser.add_argument("--particles", type=int, default=100_000)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--from", dest="first", type=int, default=0, metavar="SEED")
    parser.add_argument("--file", type=Path)
    given = parser.parse_args()
    seeds = range(given.first, given.first + given.stories)
    found = all_apart(seeds, given.particles, given.workers, given.file)
    many = N * times_of(given.particles)
    print(f"{N} against {many} particles, {given.stories} stories from seed {given.first}")
    print(printed([it for it in found if it.p]))


if __name__ == "__main__":
    main()
