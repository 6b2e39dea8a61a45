"""Whether the filter's posterior is that of its own model: ranks of truths from its own prior.

``python tests/bench/simulation_based_calibration.py [--stories 200] [--from 0] [--workers 1]
[--through fold|watch|nothing]`` draws tanks from the filter's own prior (`own_prior.py`, which says
what cannot be drawn exactly), lets the fold watch them, and ranks each truth among the weighted
particles (Talts et al. 2018, arXiv 1804.06788). If the posterior is right, ranks are spread evenly.
Printed for each quantity: ranks in ten bins with a chi-square test; the empirical distribution less
an even one, with bands that hold at all points at once.

`watch` leaves out what guards the filter against faults (an ORP out of sight, a watch begun again
or ended): it is the particle filter alone. `nothing` lets it see no reading after the word of the
pour: prior against prior, whose ranks are even unless this bench is wrong.
Values within 0.0001 mg/L count as alike; among those alike the rank is drawn.
"""

import argparse
import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from multiprocessing import get_context
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from afterfill.inference import step
from afterfill.inference.conditions import binding_at, hocl_at
from afterfill.inference.filter.streams import Array
from afterfill.inference.model.observations import as_read
from afterfill.inference.model.particles import PEAK
from afterfill.inference.monitor import data_quality, watch
from afterfill.inference.monitor.baseline import noise_of
from afterfill.inference.monitor.watch import Watch
from afterfill.records import Reading
from afterfill.tank import folded
from bench.figures import Figure
from bench.own_prior import POUR_S, Drawn, drawn
from bench.ranks import POINTS, band, evenness, rank_of
from bench.story import ZERO_S

LOOKS_MIN = (20, 60, 360)
PEAK_AT_MIN = 60
QUANTITIES = (f"peak, {PEAK_AT_MIN} min", *(f"residual, {m} min" for m in LOOKS_MIN))
_GRAIN_MG_L = 1e-4


@dataclass
class Ranked:
    """One story: its ranks by quantity, and what the guards did: whether the ORP was out of sight
    or the watch begun again before the last look."""

    seed: int
    ranks: dict[str, float] = field(default_factory=dict)
    blind: bool = False
    begun_again: bool = False


def ranked(seed: int, through: str = "fold") -> Ranked:
    """The story of a seed, drawn, folded and ranked."""
    tank = drawn(seed, max(LOOKS_MIN) / 60.0)
    random, found = np.random.default_rng([7_500_000, seed]), Ranked(seed)
    looks = list(LOOKS_MIN)
    moments = _by_fold(tank) if through == "fold" else _by_watch(tank, sees=through == "watch")
    for time_s, holding, blind in moments:
        since_min = (time_s - ZERO_S - POUR_S) / 60.0
        found.blind |= blind
        found.begun_again |= holding is not None and not holding.pour.announced
        if not looks or since_min < looks[0]:
            continue
        minutes = looks.pop(0)
        found.ranks[f"residual, {minutes} min"] = _rank(tank, holding, time_s, random, peak=False)
        if minutes == PEAK_AT_MIN and holding is not None and holding.pour.announced:
            found.ranks[QUANTITIES[0]] = _rank(tank, holding, time_s, random, peak=True)
    return found


Moment = tuple[float, Watch | None, bool]  # time [s], what tells of the water, whether blind


def _by_fold(tank: Drawn) -> Iterator[Moment]:
    state = tank.state
    for record in tank.inputs:
        state, _ = folded(tank.asked.setup, state, record)
        if isinstance(record, Reading) and record.quantity == "orp":
            belief = state.belief
            blind = data_quality.why_blind(belief.sight, record.time_s) is not None
            yield record.time_s, belief.holding, blind


def _by_watch(tank: Drawn, *, sees: bool) -> Iterator[Moment]:
    """Until the word of the pour as the fold does it, then prediction and update alone."""
    state, setup, running = tank.state, tank.asked.setup, None
    for record in tank.inputs:
        if running is None:
            state, _ = folded(setup, state, record)
            running = state.belief.watch if record is tank.asked.refill else None
            belief = state.belief
        elif isinstance(record, Reading) and record.value is not None:
            time_s, value = record.time_s, record.value
            if record.quantity == "ph":
                belief = step.with_ph(belief, value, time_s)
            elif record.quantity == "temperature":
                belief = step.with_temperature(belief, value, time_s)
            else:
                noise_mv = noise_of(belief.baseline)
                seen = watch.Seen(
                    value, belief.ph.at(time_s), belief.temperature.at(time_s),
                    hocl_at(belief, time_s), binding_at(belief, time_s), noise_mv,
                )  # fmt: skip
                if not sees:
                    seen = seen._replace(orp_mv=None, ph=None, temperature_c=None)
                if watch.is_due(running, time_s, seen.orp_mv, noise_mv):
                    running = watch.advanced(running, time_s, seen, setup.inference.law)
                yield time_s, running, False


def _rank(
    tank: Drawn, holding: Watch | None, time_s: float, random: np.random.Generator, *, peak: bool
) -> float:
    """Of the truth at the time of the particles; where there are none, nothing is believed to be
    in the tank."""
    if holding is None:
        values, weights, at_s = np.zeros(1), np.ones(1), time_s
    else:
        particles, at_s = holding.particles, holding.last_s
        values = particles.state[PEAK] if peak else as_read(particles.residual)
        weights = particles.weights
    truth = tank.at(at_s)[int(peak)]
    return rank_of(float(_grained(np.array(truth))), _grained(values), weights, random)


def _grained(values: Array) -> Array:
    return np.asarray(np.round(values / _GRAIN_MG_L))


def ranked_stories(first: int, stories: int, workers: int, through: str = "fold") -> list[Ranked]:
    """So many stories from this seed on."""
    seeds, one = range(first, first + stories), partial(ranked, through=through)
    if workers == 1:
        return [one(seed) for seed in seeds]
    with ProcessPoolExecutor(workers, get_context("spawn")) as pool:
        return list(pool.map(one, seeds, chunksize=4))


def figure_of(found: Sequence[Ranked]) -> Figure:
    """The row of the table: of all quantities the least probability that even ranks lie so far off;
    0.01 is the band of 99 %, 0.05 that of 95 %."""
    ranks = {name: _ranks_of(found, name) for name in QUANTITIES}
    p = {name: evenness(of).p for name, of in ranks.items() if of}
    least = min(p, key=lambda name: p[name]) if p else ""
    note = f"{len(found)} stories; least: {least}"
    name = "simulation-based calibration: p of the ranks' ECDF"
    value = p.get(least, float("nan"))
    return Figure(name, value, 0.0, 1.0, note, (0.01, 1.0), (0.05, 1.0))


def _ranks_of(found: Sequence[Ranked], name: str) -> list[float]:
    return [one.ranks[name] for one in found if name in one.ranks]


def printed(found: Sequence[Ranked]) -> str:
    """The tables."""
    blind, again = sum(one.blind for one in found), sum(one.begun_again for one in found)
    rows = [f"out of sight for a while: {blind} of {len(found)}; begun again: {again}"]
    for name in QUANTITIES:
        ranks = _ranks_of(found, name)
        rows += ["", *(_table(name, ranks) if ranks else [f"{name}: no ranks"])]
    return "\n".join(rows)


def _table(name: str, ranks: list[float]) -> list[str]:
    it = evenness(ranks)
    (low, high), (low99, high99) = band(it.n, 0.95), band(it.n, 0.99)
    inside = "inside 95 %" if it.p >= 0.05 else "inside 99 %" if it.p >= 0.01 else "outside 99 %"
    rows = [
        f"{name}: {it.n} ranks in tenths {it.counts}, chi-square p {it.chi_square_p:.4f}; "
        f"ECDF p {it.p:.4f}, {inside}",
        f"  {'rank':>5} {'ECDF-rank':>9}  {'95 % band':>16}  {'99 % band':>16}",
    ]
    for n, point in enumerate(POINTS):
        out = " <" if not low[n] - 1e-9 <= it.off[n] <= high[n] + 1e-9 else ""
        rows.append(
            f"  {point:5.2f} {it.off[n]:9.3f}  {low[n]:7.3f} {high[n]:8.3f}  "
            f"{low99[n]:7.3f} {high99[n]:8.3f}{out}"
        )
    return rows


def main() -> None:
    """See the module."""
    asked = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    asked.add_argument("--stories", type=int, default=200)
    asked.add_argument("--from", dest="first", type=int, default=0, metavar="SEED")
    asked.add_argument("--workers", type=int, default=1)
    asked.add_argument("--through", choices=("fold", "watch", "nothing"), default="fold")
    given = asked.parse_args()
    found = ranked_stories(given.first, given.stories, given.workers, given.through)
    print(f"{given.stories} stories from seed {given.first}, through the {given.through}")
    print(printed(found))


if __name__ == "__main__":
    main()
