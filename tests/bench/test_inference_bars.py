"""The inference must not get worse: the bench's figures on few fixed tuning seeds, which come out
the same each time, held to what they were when these bars were set. A change that makes them better
tightens them; the full table is `python tests/bench/inference_bench.py`."""

import pytest

from bench.against import rivals_of
from bench.figures import Figure, table
from bench.inference_bench import outcomes_of
from bench.laws import TUNING_LAWS

# Chosen by what is poured, not by what is found: the first one-day stories with free chlorine, with
# chloramine, with raw water that was not announced, and with enough neutraliser.
REFILLS = [
    *(1, 2, 5, 6, 7, 10, 20, 23, 37, 38, 42, 47, 56, 65, 68, 69, 71, 74, 76, 79, 80, 81, 84, 90),
    *(92, 95, 97, 103, 108, 109, 133, 134, 142, 166, 187, 193, 217),
]
QUIET = list(range(24))
TOP_OFFS = [0, 1]

# Least and most. Each leaves room for about one story: another processor rounds the last bit of a
# logarithm differently, and resampling makes another draw of it.
BARS: dict[str, tuple[float, float]] = {
    "free chlorine >= 0.1 mg/L: alarm within 15 min": (12 / 13, 1.0),
    "chloramine >= 0.3 mg/L: alarm within 20 min": (7 / 10, 1.0),
    "median delay after 0.1 mg/L [min]": (-60.0, 4.0),
    "false alarms per well-dosed announced refill": (0.0, 0.1),
    "false alarms per tank-year without a refill": (0.0, 16.0),
    "unannounced raw refill: alarm within 30 min": (6 / 7, 1.0),
    "residual inside its 90 % interval": (0.84, 0.97),
    "free ammonia inside its 90 % interval": (0.82, 0.97),
    # These tanks lose chloramine some times faster than is published, and so than is believed; the
    # same figure of the homes, drawn from what is published, is 0.48 (homes_bench.py).
    "CRPS against the mass balance, announced": (0.0, 0.8),
    "misses over those of the best simple detector": (0.0, 0.11),
    "probe faults and servicing called carry-over": (0.0, 0.06),
}


@pytest.fixture(scope="module")
def figures() -> dict[str, Figure]:
    found = outcomes_of(REFILLS, QUIET, TOP_OFFS, laws=TUNING_LAWS, workers=2)
    rivals = rivals_of(found.refills, found.quiet)
    return {figure.name: figure for figure in table(found, rivals)}


@pytest.mark.timeout(300)
@pytest.mark.parametrize("name", BARS)
def test_a_figure_is_no_worse_than_it_was(name: str, figures: dict[str, Figure]) -> None:
    least, most = BARS[name]
    assert least <= figures[name].value <= most, figures[name].note


@pytest.mark.timeout(300)
def test_every_figure_that_has_a_bar_is_held_here(figures: dict[str, Figure]) -> None:
    assert {name for name, figure in figures.items() if figure.bar is not None} <= set(BARS)
