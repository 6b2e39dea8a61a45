"""Tests that can fail: each of these mistakes is noticed."""

from pathlib import Path

import pytest

from bench.mutants import MUTANTS, Mutant, survives


@pytest.mark.parametrize("mutant", MUTANTS, ids=lambda mutant: mutant.name.replace(" ", "-"))
def test_a_mistake_is_noticed(mutant: Mutant, tmp_path: Path) -> None:
    assert not survives(mutant, tmp_path)


@pytest.mark.parametrize("tests", sorted({mutant.tests for mutant in MUTANTS}))
def test_without_a_mistake_the_same_tests_pass(tests: str, tmp_path: Path) -> None:
    """Else a mutant would seem to be noticed for another reason."""
    line = MUTANTS[0].before
    assert survives(Mutant("none", MUTANTS[0].file, line, line, tests), tmp_path)
