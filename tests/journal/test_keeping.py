"""Opening what is no sound journal, and dropping what is old."""

import sqlite3
from pathlib import Path

import pytest

from afterfill.errors import JournalError
from afterfill.journal.retention import Dropped
from afterfill.journal.store import Journal
from afterfill.journal.survey import surveyed
from afterfill.records import Refill, Service, Stamp
from audit_samples import forecast_check
from journal_samples import START_S, fill, orp, stamp_at


class TestPruning:
    day_s = 86400.0

    def old_and_young(self, journal: Journal) -> float:
        for number in range(10):
            fill(journal, 1, START_S + number)
        fill(journal, 5, START_S + 10 * self.day_s)
        return START_S + 11 * self.day_s

    def test_drops_what_is_old(self, journal: Journal) -> None:
        now_s = self.old_and_young(journal)
        assert journal.prune(now_s, 5, 100) == Dropped(rows=10)
        assert [e.seq for e in journal.entries()] == [11, 12, 13, 14, 15]
        assert journal.prune(now_s, 5, 100) == Dropped()

    def test_age_goes_by_when_a_record_came_not_by_its_own_time(self, journal: Journal) -> None:
        late = Service(START_S - 1000 * self.day_s, "window", "probe")
        journal.append(late, stamp_at(START_S))
        journal.commit()
        assert journal.prune(START_S, 5, 100) == Dropped()

    def test_an_unsynchronised_clock_makes_nothing_old(self, journal: Journal) -> None:
        journal.append(orp(0.0), Stamp(0.0, False, "boot", 1.0))
        fill(journal, 1)
        assert journal.prune(START_S + 60, 5, 100) == Dropped()

    def test_waits_for_the_slowest_cursor(self, journal: Journal) -> None:
        now_s = self.old_and_young(journal)
        journal.move_cursor("mqtt", 15)
        journal.move_cursor("influx", 4)
        assert journal.prune(now_s, 5, 100) == Dropped(rows=4)

    def test_a_cursor_inside_a_block_keeps_it_whole(self, journal: Journal) -> None:
        fill(journal, 10)
        fill(journal, 5, START_S + 10 * self.day_s)
        journal.move_cursor("mqtt", 9)
        assert journal.prune(START_S + 11 * self.day_s, 5, 100) == Dropped()
        journal.move_cursor("mqtt", 10)
        assert journal.prune(START_S + 11 * self.day_s, 5, 100) == Dropped(rows=10)

    def test_a_young_row_keeps_its_block_whole(self, journal: Journal) -> None:
        journal.append(orp(START_S), stamp_at(START_S))
        fill(journal, 1, START_S + 10 * self.day_s)
        assert journal.prune(START_S + 11 * self.day_s, 5, 100) == Dropped()

    def test_rare_rows_and_blocks_go_together(self, journal: Journal) -> None:
        for number in range(5):
            fill(journal, 2, START_S + number)
            journal.append(Service(START_S, "window", "probe"), stamp_at(START_S + number))
            journal.commit()
        fill(journal, 5, START_S + 10 * self.day_s)
        journal.move_cursor("mqtt", 8)
        assert journal.prune(START_S + 11 * self.day_s, 5, 100) == Dropped(rows=8)
        assert [e.seq for e in journal.entries()] == list(range(9, 21))

    def test_what_tests_answered_is_kept_when_all_around_it_goes(self, journal: Journal) -> None:
        fill(journal, 3)
        journal.append(forecast_check(0.0), stamp_at(START_S + 3))
        journal.append(Service(START_S, "window", "probe"), stamp_at(START_S + 4))
        journal.commit()
        now_s = START_S + 400 * self.day_s
        assert journal.prune(now_s, 5, 100) == Dropped(rows=4)
        assert journal.prune(now_s, 5, 0.0) == Dropped()  # nor by bytes, and it ends
        assert [entry.record for entry in journal.entries()] == [forecast_check(0.0)]
        assert journal.append(orp(START_S), stamp_at(now_s)) == 6

    def test_a_journal_that_kept_them_is_sound(self, journal: Journal, path: Path) -> None:
        for number in range(4):
            fill(journal, 2, START_S + number)
            journal.append(forecast_check(number), stamp_at(START_S + number))
            journal.commit()
        fill(journal, 5, START_S + 10 * self.day_s)
        assert journal.prune(START_S + 11 * self.day_s, 5, 100) == Dropped(rows=8)
        found = surveyed(path, alone=False)
        assert (found.missing, found.unreadable, found.explained) == (0, 0, {})

    def test_keeps_what_a_restart_needs(self, journal: Journal) -> None:
        now_s = self.old_and_young(journal)
        journal.save_snapshot("window", 2, b"old")
        journal.save_snapshot("trout", 15, b"new")
        journal.commit()
        assert journal.prune(now_s, 5, 100) == Dropped(rows=2)
        assert journal.snapshot("window") == (2, b"old")

    def test_the_byte_bound_overrides_cursors_and_counts_what_was_lost(
        self, journal: Journal
    ) -> None:
        for number in range(400):
            fill(journal, 100, START_S + 100 * number)
        journal.move_cursor("influx", 1050)
        journal.save_snapshot("window", 39_000, b"state")
        journal.commit()
        dropped = journal.prune(START_S, 400, 0.04)
        left = journal.entries(limit=50_000)
        assert dropped.rows == 40_000 - len(left) > 5000
        assert dropped.undelivered == dropped.rows - 1050
        assert dropped.unfolded == max(0, dropped.rows - 39_000)
        assert left[-1].seq == 40_000
        assert journal.size_bytes() > 0

    def test_no_number_is_given_twice_when_all_was_dropped(
        self, journal: Journal, path: Path
    ) -> None:
        fill(journal, 10)
        assert journal.prune(START_S + 400 * self.day_s, 5, 100) == Dropped(rows=10)
        assert journal.last_seq() == 10
        with Journal.open(path) as again:
            assert again.append(orp(START_S), stamp_at(START_S)) == 11


class TestOpening:
    def test_a_folder_that_is_not_there(self, tmp_path: Path) -> None:
        with pytest.raises(JournalError, match=r"cannot be opened; does .*away exist"):
            Journal.open(tmp_path / "away" / "journal.db")

    def test_reading_what_does_not_exist(self, path: Path) -> None:
        with pytest.raises(JournalError, match="cannot be opened"):
            Journal.open(path, read_only=True)
        assert not path.exists()

    def test_a_file_that_is_no_database(self, path: Path) -> None:
        path.write_bytes(b"time,orp_mv,ph,temperature_c\n" * 200)
        with pytest.raises(JournalError, match=r"is damaged, or .* keeps the damaged file aside"):
            Journal.open(path)

    def test_a_database_of_something_else_is_left_alone(self, path: Path) -> None:
        with sqlite3.connect(path) as database:
            database.execute("CREATE TABLE stamps (country TEXT)")
        database.close()
        with pytest.raises(JournalError, match="database of something else"):
            Journal.open(path)
        with pytest.raises(JournalError, match="is not a journal"):
            Journal.open(path, read_only=True)

    def test_a_newer_form_is_refused(self, path: Path) -> None:
        Journal.open(path).close()
        with sqlite3.connect(path) as database:
            database.execute("PRAGMA user_version=99")
        database.close()
        with pytest.raises(JournalError, match=r"newer afterfill \(its form is 99"):
            Journal.open(path)

    def test_pages_overwritten_with_rubbish_are_reported_not_returned(self, path: Path) -> None:
        with Journal.open(path) as journal:
            for number in range(500):
                service = Service(START_S, "window", "probe")
                journal.append(service, stamp_at(START_S + number))
        with path.open("r+b") as file:
            file.seek(4096)
            file.write(b"\xff" * (path.stat().st_size - 4096))
        with pytest.raises(JournalError, match="is damaged"), Journal.open(path) as journal:
            journal.entries()

    def test_writing_through_a_read_only_journal(self, journal: Journal, path: Path) -> None:
        fill(journal, 1)
        with (
            Journal.open(path, read_only=True) as reader,
            pytest.raises(JournalError, match="cannot be written"),
        ):
            reader.submit(Refill(START_S, "window", "add"), stamp_at(START_S))
