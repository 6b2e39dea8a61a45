import sqlite3
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from afterfill.errors import JournalError
from afterfill.journal.retention import Dropped
from afterfill.journal.store import Journal
from afterfill.records import Event, Reading, Record, Refill, Service, Stamp
from record_strategies import events, records, stamps

START_S = 1_772_350_200.0


def stamp_at(time_s: float) -> Stamp:
    return Stamp(time_s, True, "boot", time_s - START_S)


def orp(time_s: float, tank: str = "reef") -> Reading:
    return Reading(time_s, tank, "orp", 312.5, "reef-orp")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "journal.db"


@pytest.fixture
def journal(path: Path) -> Iterator[Journal]:
    with Journal.open(path) as opened:
        yield opened


def fill(journal: Journal, count: int, start_s: float = START_S) -> None:
    for number in range(count):
        journal.append(orp(start_s + number), stamp_at(start_s + number))
    journal.commit()


@settings(max_examples=60, deadline=None)
@given(written=st.lists(st.tuples(records, stamps), min_size=1, max_size=8))
def test_every_record_comes_back_as_it_was_written(
    tmp_path_factory: pytest.TempPathFactory, written: list[tuple[Record, Stamp]]
) -> None:
    with Journal.open(tmp_path_factory.mktemp("trip") / "journal.db") as journal:
        numbers = [journal.append(record, stamp) for record, stamp in written]
        journal.commit()
        found = journal.entries()
        assert [(e.record, e.stamp) for e in found] == written
        assert [e.seq for e in found] == numbers == list(range(1, len(written) + 1))
        assert journal.undecodable == 0


@settings(max_examples=40, deadline=None)
@given(event=events, stamp=stamps)
def test_every_command_passes_the_inbox_unchanged(
    tmp_path_factory: pytest.TempPathFactory, event: Event, stamp: Stamp
) -> None:
    with Journal.open(tmp_path_factory.mktemp("inbox") / "journal.db") as journal:
        inbox_id = journal.submit(event, stamp)
        assert journal.inbox() == [(inbox_id, event, stamp)]


def test_appended_records_are_seen_by_others_only_after_commit(
    journal: Journal, path: Path
) -> None:
    with Journal.open(path, read_only=True) as reader:
        seq = journal.append(orp(START_S), stamp_at(START_S))
        assert (journal.uncommitted, reader.entries(), reader.last_seq()) == (1, [], 0)
        journal.commit()
        assert journal.uncommitted == 0
        assert [e.seq for e in reader.entries()] == [seq] == [reader.last_seq()]


def test_numbers_go_on_after_reopening_even_when_all_rows_are_gone(path: Path) -> None:
    with Journal.open(path) as journal:
        fill(journal, 3)
    with sqlite3.connect(path) as database:
        database.execute("DELETE FROM record")
    database.close()
    with Journal.open(path) as journal:
        assert journal.append(orp(START_S), stamp_at(START_S)) == 4


def test_close_commits_what_is_pending(path: Path) -> None:
    with Journal.open(path) as journal:
        journal.append(orp(START_S), stamp_at(START_S))
    with Journal.open(path, read_only=True) as journal:
        assert journal.last_seq() == 1


def test_a_taken_command_leaves_the_inbox_with_the_commit_that_stores_it(
    journal: Journal, path: Path
) -> None:
    refill = Refill(START_S, "reef", "add", 5.0)
    with Journal.open(path) as other:
        inbox_id = other.submit(refill, stamp_at(START_S))
        journal.take(*journal.inbox()[0])
        assert journal.inbox() == []  # not offered twice
        assert [item[0] for item in other.inbox()] == [inbox_id]  # not lost either
        journal.commit()
        assert other.inbox() == []
        assert [e.record for e in other.entries()] == [refill]


def test_a_failed_commit_keeps_everything_pending(journal: Journal, path: Path) -> None:
    fill(journal, 1)
    journal.append(orp(START_S + 1), stamp_at(START_S + 1))
    with Journal.open(path) as second:
        fill(second, 1)
    with pytest.raises(JournalError, match="second afterfill; stop one of them"):
        journal.commit()
    assert journal.uncommitted == 1
    assert len(journal.entries()) == 2
    with sqlite3.connect(path) as database:
        database.execute("DELETE FROM record WHERE seq = 2")
    database.close()
    journal.commit()
    assert journal.latest("reading", "reef")[0].stamp == stamp_at(START_S + 1)


def test_entries_are_filtered_by_number_kind_and_tank(journal: Journal) -> None:
    fill(journal, 3)
    journal.append(Service(START_S, "trout", "probe"), stamp_at(START_S))
    journal.append(orp(START_S, "trout"), stamp_at(START_S))
    journal.commit()
    numbers = [e.seq for e in journal.entries(1, until=4)]
    assert numbers == [2, 3, 4]
    assert [e.seq for e in journal.entries(limit=2)] == [1, 2]
    assert [e.seq for e in journal.entries(tank="trout")] == [4, 5]
    assert [e.seq for e in journal.entries(kinds=["service", "verdict"])] == [4]
    assert [e.seq for e in journal.entries(kinds=["reading"], tank="trout")] == [5]
    assert journal.entries(tank="nobody") == []


def test_latest_gives_the_newest_first(journal: Journal) -> None:
    fill(journal, 5)
    assert [e.seq for e in journal.latest("reading", "reef", 2)] == [5, 4]
    assert journal.latest("verdict", "reef") == []


def test_between_goes_by_the_time_of_the_record_over_many_chunks(journal: Journal) -> None:
    fill(journal, 2500)
    journal.append(orp(START_S + 0.5), stamp_at(START_S + 9999))
    journal.commit()
    found = list(journal.between("reef", START_S, START_S + 2400))
    times = [e.record.time_s for e in found]
    assert times == sorted(times)
    assert len(times) == 2401
    assert times[1] == START_S + 0.5
    assert list(journal.between("trout", START_S, START_S + 2400)) == []


def test_rows_of_a_newer_version_are_skipped_and_counted(journal: Journal) -> None:
    fill(journal, 3)
    journal._db.execute("INSERT INTO word (text) VALUES ('hologram')")
    journal._db.execute(
        "UPDATE record SET kind = (SELECT id FROM word WHERE text = 'hologram') WHERE seq = 2"
    )
    journal._db.execute("""UPDATE record SET body = '{"future": 1}' WHERE seq = 1""")
    assert [e.seq for e in journal.entries(limit=1)] == [3]
    assert journal.undecodable == 2


def test_a_record_with_nan_is_refused_in_one_sentence(journal: Journal) -> None:
    bad = Reading(START_S, "reef", "orp", float("nan"))
    with pytest.raises(JournalError, match="NaN or infinity cannot be kept"):
        journal.append(bad, stamp_at(START_S))
    assert journal.uncommitted == 0


def test_reading_goes_on_while_another_thread_writes(journal: Journal, path: Path) -> None:
    done = threading.Event()
    seen: list[int] = []

    def follow() -> None:
        with Journal.open(path) as reader:
            while not (done.is_set() and reader.cursor("follower") == reader.last_seq()):
                for entry in reader.entries(reader.cursor("follower"), limit=50):
                    seen.append(entry.seq)
                reader.move_cursor("follower", seen[-1] if seen else 0)

    follower = threading.Thread(target=follow)
    follower.start()
    for number in range(60):
        fill(journal, 20, START_S + 20 * number)
    done.set()
    follower.join(30)
    assert seen == list(range(1, 1201))


def test_several_processes_submit_at_once_and_each_command_arrives_once(
    journal: Journal, path: Path
) -> None:
    code = (
        "import sys; from pathlib import Path\n"
        "from afterfill.journal.store import Journal\n"
        "from afterfill.records import Dose, Stamp\n"
        "journal = Journal.open(Path(sys.argv[1]))\n"
        "for n in range(40):\n"
        "    dose = Dose(1000.0 + n, sys.argv[2], 1.0)\n"
        "    print(journal.submit(dose, Stamp(1000.0 + n, True, 'b', 1.0)))\n"
    )
    tanks = ["a", "b", "c"]
    children = [
        subprocess.Popen([sys.executable, "-c", code, str(path), tank], stdout=subprocess.DEVNULL)
        for tank in tanks
    ]
    while any(child.poll() is None for child in children) or journal.inbox():
        for item in journal.inbox():
            journal.take(*item)
        journal.commit()
    assert [child.returncode for child in children] == [0, 0, 0]
    found = [(e.record.tank, e.record.time_s) for e in journal.entries()]
    assert sorted(found) == [(tank, 1000.0 + n) for tank in tanks for n in range(40)]


def test_a_cursor_never_moves_back(journal: Journal) -> None:
    assert journal.cursor("mqtt") == 0
    journal.move_cursor("mqtt", 7)
    journal.move_cursor("mqtt", 3)
    assert journal.cursor("mqtt") == 7
    assert journal.cursor("influx") == 0


def test_the_last_two_snapshots_are_kept(journal: Journal) -> None:
    assert journal.snapshot("reef") is None
    for seq in (10, 20, 30):
        journal.save_snapshot("reef", seq, bytes([seq]))
        journal.commit()
    assert journal.snapshot("reef") == (30, bytes([30]))
    assert journal.snapshot("reef", before=30) == (20, bytes([20]))
    assert journal.snapshot("reef", before=20) is None
    assert journal.snapshot("trout") is None


def test_meta_keeps_facts(journal: Journal) -> None:
    assert journal.meta("created-by") is None
    journal.set_meta("created-by", "0.1.0")
    journal.set_meta("created-by", "0.2.0")
    assert journal.meta("created-by") == "0.2.0"


class TestPruning:
    day_s = 86400.0

    def old_and_young(self, journal: Journal) -> float:
        fill(journal, 10)
        fill(journal, 5, START_S + 10 * self.day_s)
        return START_S + 11 * self.day_s

    def test_drops_what_is_old(self, journal: Journal) -> None:
        now_s = self.old_and_young(journal)
        assert journal.prune(now_s, 5, 100) == Dropped(rows=10)
        assert [e.seq for e in journal.entries()] == [11, 12, 13, 14, 15]
        assert journal.prune(now_s, 5, 100) == Dropped()

    def test_age_goes_by_when_a_record_came_not_by_its_own_time(self, journal: Journal) -> None:
        late = Service(START_S - 1000 * self.day_s, "reef", "probe")
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

    def test_keeps_what_a_restart_needs(self, journal: Journal) -> None:
        now_s = self.old_and_young(journal)
        journal.save_snapshot("reef", 2, b"old")
        journal.save_snapshot("trout", 15, b"new")
        journal.commit()
        assert journal.prune(now_s, 5, 100) == Dropped(rows=2)
        assert journal.snapshot("reef") == (2, b"old")

    def test_the_byte_bound_overrides_cursors_and_counts_what_was_lost(
        self, journal: Journal
    ) -> None:
        fill(journal, 20_000)
        journal.move_cursor("influx", 1000)
        journal.save_snapshot("reef", 19_000, b"state")
        journal.commit()
        dropped = journal.prune(START_S, 400, 1.0)
        left = journal.entries(limit=30_000)
        assert dropped.rows == 20_000 - len(left) > 5000
        assert dropped.undelivered == dropped.rows - 1000
        assert dropped.unfolded == max(0, dropped.rows - 19_000)
        assert left[-1].seq == 20_000
        assert journal.size_bytes() > 0


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
        with pytest.raises(JournalError, match=r"is damaged .* move it aside"):
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
            fill(journal, 500)
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
            reader.submit(Refill(START_S, "reef", "add"), stamp_at(START_S))
