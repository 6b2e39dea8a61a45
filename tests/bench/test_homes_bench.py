"""A long run of homes can be broken off and go on."""

from pathlib import Path

import numpy as np
import pytest

from bench import homes_bench
from bench.home_stories import Life, home_story
from bench.home_truths import Lived
from bench.homes_bench import homes
from bench.tanks import Played


def test_a_home_that_is_kept_is_not_lived_again_under_the_same_laws(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = list[tuple[Life, int, int]]()

    def noted(life: Life, seed: int, laws: int) -> Lived:
        asked.append((life, seed, laws))
        moments = np.full((3, 10), float(seed))
        truth = Played([], *([moments[:, 0]] * 5))
        return Lived(life, seed, home_story(life, seed, laws), 0.02, moments, truth)

    monkeypatch.setattr(homes_bench, "lived", noted)
    first = homes(7, 4, 2, 0, 0, keep=tmp_path)
    more = homes(7, 4, 3, 0, 1, keep=tmp_path)
    homes(7, 5, 1, 0, 0, keep=tmp_path)
    assert asked == [
        ("refill", 7, 4), ("refill", 8, 4), ("ageing", 7, 4), ("refill", 9, 4), ("refill", 7, 5),
    ]  # fmt: skip
    assert [(home.life, home.seed) for home in more] == [
        ("ageing", 7), ("refill", 7), ("refill", 8), ("refill", 9),
    ]  # fmt: skip
    assert np.array_equal(more[1].minutes, first[0].minutes)
    assert not list(tmp_path.glob("*.part"))
