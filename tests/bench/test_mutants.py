"""Tests that can fail: each of these mistakes is noticed. Two are tried at a time."""

from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path

import pytest

from bench.mutants import MUTANTS, Mutant, survives

_NONE = MUTANTS[0].before
SOUND = [
    Mutant(f"none of {tests}", MUTANTS[0].file, _NONE, _NONE, tests)
    for tests in sorted({mutant.tests for mutant in MUTANTS})
]


@pytest.fixture(scope="module")
def tried(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Future[bool]]]:
    """Whether each survives, by its name, as soon as that is known."""
    folder: Path = tmp_path_factory.mktemp("mutants")
    with ThreadPoolExecutor(2) as pool:
        found = {}
        for number, mutant in enumerate([*MUTANTS, *SOUND]):
            room = folder / str(number)
            room.mkdir()
            found[mutant.name] = pool.submit(survives, mutant, room)
        yield found
        pool.shutdown(cancel_futures=True)


@pytest.mark.parametrize("mutant", MUTANTS, ids=lambda mutant: mutant.name.replace(" ", "-"))
def test_a_mistake_is_noticed(mutant: Mutant, tried: dict[str, Future[bool]]) -> None:
    assert not tried[mutant.name].result()


@pytest.mark.parametrize("mutant", SOUND, ids=lambda mutant: mutant.tests.replace(" ", "-"))
def test_without_a_mistake_the_same_tests_pass(
    mutant: Mutant, tried: dict[str, Future[bool]]
) -> None:
    """Else a mutant would seem to be noticed for another reason."""
    assert tried[mutant.name].result()
