"""A long run of the reference goes on where it was interrupted."""

from pathlib import Path

import pytest

from bench import reference_bench
from bench.reference_bench import Apart, all_apart, printed, times_of


@pytest.fixture
def played(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """The seeds that were played."""
    seeds: list[int] = []

    def apart(seed: int, particles: int) -> Apart:
        seeds.append(seed)
        return Apart(seed, [seed / 100.0, 0.25], [(0.1, 0.2, 0.3), (0.0, 0.0, particles)])

    monkeypatch.setattr(reference_bench, "apart", apart)
    return seeds


def test_what_is_in_the_file_is_not_played_again(tmp_path: Path, played: list[int]) -> None:
    file = tmp_path / "stories"
    first = all_apart(range(3), 1000, 1, file)
    assert played == [0, 1, 2]
    assert all_apart(range(5), 1000, 1, file)[:3] == first
    assert played == [0, 1, 2, 3, 4]
    assert all_apart(range(2), 9000, 1, file)[0].quantiles[1][2] == 9000
    assert played[5:] == [0, 1]


def test_a_line_that_was_cut_off_is_played_again(tmp_path: Path, played: list[int]) -> None:
    file = tmp_path / "stories"
    all_apart(range(2), 1000, 1, file)
    file.write_text(file.read_text()[:-9])
    found = all_apart(range(3), 1000, 1, file)
    assert played == [0, 1, 1, 2]
    again = all_apart(range(3), 1000, 1, file)
    assert again == found
    assert played == [0, 1, 1, 2]


def test_the_figures_are_of_all_minutes(played: list[int]) -> None:
    table = printed(all_apart(range(100), 1000, 1)).splitlines()
    assert table[0].startswith("100 stories, 200 minutes")
    assert table[2].split()[1:3] == ["0.2500", "0.7910"]
    assert len(played) == 100


def test_particles_are_counted_in_all() -> None:
    assert times_of(100_000) == 130
    assert times_of(1) == 1
