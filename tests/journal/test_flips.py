"""One flipped bit anywhere: all as before, or told; never a traceback, never a wrong value."""

import threading
from pathlib import Path

from afterfill.journal.store import Journal
from afterfill.journal.survey import surveyed
from afterfill.records import Service
from journal_flips import SUFFIXES, judged, lived, places
from journal_samples import START_S, fill, stamp_at

PLACES = 150  # `python tests/system/fault_table.py "single flipped bit"` flips thousands


def test_one_flipped_bit_is_without_effect_or_told(tmp_path: Path) -> None:
    origin = lived(tmp_path)
    found = judged(origin, tmp_path / "flips", places(origin, PLACES, seed=11))
    assert found.neither == []
    assert found.counts["told"] > PLACES / 5
    assert found.counts["identical"] > PLACES / 5
    assert found.kept > 0.6 * found.counts["told"]
    assert found.lost < 3 * found.counts["told"]  # of some 430 records


def test_each_bit_of_the_heads_of_the_files(tmp_path: Path) -> None:
    """Where one bit means most: SQLite's header, the log's, the marks and the first frame."""
    origin = lived(tmp_path)
    chosen = [("", bit) for bit in range(0, 8 * 108, 11)]
    chosen += [("-wal", bit) for bit in range(0, 8 * 56, 7)]
    chosen += [("-tail", bit) for bit in range(0, 8 * 64, 16)]
    chosen += [("-tail", bit) for bit in range(8 * 4096, 8 * 4150, 9)]
    assert {suffix for suffix, _ in chosen} == set(SUFFIXES)
    found = judged(origin, tmp_path / "flips", chosen)
    assert found.neither == []
    assert found.counts["told"] > 20


def test_a_journal_that_is_written_meanwhile_is_sound(tmp_path: Path) -> None:
    path, stop = tmp_path / "j.db", threading.Event()

    def write() -> None:
        with Journal.open(path) as journal:
            number = 0
            while not stop.is_set():
                number += 1
                fill(journal, 3, START_S + number)
                if number % 5 == 0:
                    journal.append(Service(START_S, "window", "probe"), stamp_at(START_S))
                    journal.commit()

    Journal.open(path).close()
    thread = threading.Thread(target=write)
    thread.start()
    try:
        found = [surveyed(path, alone=False) for _ in range(40)]
    finally:
        stop.set()
        thread.join()
    assert [survey.sentence() for survey in found if not survey.is_sound] == []
    assert found[-1].sound["block"] > found[0].sound["block"]
