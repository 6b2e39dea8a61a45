"""A correction holds up no turn of the core, however old its word is."""

from pathlib import Path

from bench.correction_speed import taken


def test_no_turn_of_the_core_waits_long_for_a_correction(tmp_path: Path) -> None:
    """A slice is 0.2 s; the rest is for a machine that does something else as well."""
    it = taken(tmp_path, 12.0, 30.0)
    assert it.turns > 2
    assert it.longest_s < 2.0
    assert it.all_s < 30.0
