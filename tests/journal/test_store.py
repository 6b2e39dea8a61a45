import os
import sqlite3
import subprocess
import sys
import threading
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from afterfill.errors import JournalError
from afterfill.journal import schema
from afterfill.journal.check import check_of
from afterfill.journal.schema import connect
from afterfill.journal.store import Journal
from afterfill.records import Dose, Event, Reading, Record, Refill, Service, Stamp
from journal_samples import START_S, fill, orp, stamp_at
from record_strategies import events, records, stamps


def service() -> Service:
    return Service(START_S, "window", "probe")


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


def test_close_commits_what_is_pending(path: Path) -> None:
    with Journal.open(path) as journal:
        journal.append(orp(START_S), stamp_at(START_S))
    with Journal.open(path, read_only=True) as journal:
        assert journal.last_seq() == 1


def test_a_taken_command_leaves_the_inbox_with_the_commit_that_stores_it(
    journal: Journal, path: Path
) -> None:
    refill = Refill(START_S, "window", "add", 5.0)
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
        second.append(service(), stamp_at(START_S))
    with pytest.raises(JournalError, match="second afterfill; stop one of them"):
        journal.commit()
    assert journal.uncommitted == 1
    assert len(journal.entries()) == 2
    with sqlite3.connect(path) as database:
        database.execute("DELETE FROM record WHERE seq = 2")
        database.execute("DELETE FROM sqlite_sequence WHERE name = 'record'")
    database.close()
    journal.commit()
    assert journal.latest("reading", "window")[0].stamp == stamp_at(START_S + 1)


def test_a_full_disk_is_told_and_loses_nothing(journal: Journal) -> None:
    fill(journal, 10)
    pages = journal._db.execute("PRAGMA page_count").fetchone()[0]
    journal._db.execute(f"PRAGMA max_page_count={pages}")
    numbers = [journal.append(service(), stamp_at(START_S + n)) for n in range(2000)]
    with pytest.raises(JournalError, match="the disk is full; free some space"):
        journal.commit()
    assert journal.uncommitted == 2000
    assert journal.last_seq() == 10
    journal._db.execute("PRAGMA max_page_count=1000000")
    journal.commit()
    assert [e.seq for e in journal.entries(10, limit=3000)] == numbers


def test_a_lock_held_by_another_program_is_told_and_loses_nothing(
    journal: Journal, path: Path
) -> None:
    fill(journal, 1)
    journal._db.execute("PRAGMA busy_timeout=50")
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    journal.append(service(), stamp_at(START_S))
    with pytest.raises(JournalError, match="locked by another program"):
        journal.commit()
    with pytest.raises(JournalError, match="locked by another program"):
        journal.submit(Refill(START_S, "window", "add"), stamp_at(START_S))
    other.execute("ROLLBACK")
    other.close()
    journal.commit()
    assert journal.last_seq() == 2


def test_two_processes_may_create_the_same_journal_at_once(path: Path) -> None:
    code = (
        "import sys; from pathlib import Path\n"
        "from afterfill.journal.store import Journal\n"
        "sys.stdin.readline()\n"
        "Journal.open(Path(sys.argv[1])).close()\n"
    )
    children = [
        subprocess.Popen([sys.executable, "-c", code, str(path)], stdin=subprocess.PIPE)
        for _ in range(4)
    ]
    for child in children:
        assert child.stdin is not None
        with child.stdin as line:
            line.write(b"go\n")
    assert [child.wait(30) for child in children] == [0, 0, 0, 0]
    Journal.open(path, read_only=True).close()


def test_a_journal_made_between_two_questions_is_one(path: Path) -> None:
    path.touch()
    connection, asked = sqlite3.connect(path, isolation_level=None), []

    def made_by_another_process(question: str) -> None:
        asked.append(question)
        if len(asked) == 2:
            connect(path, read_only=False).close()

    connection.set_trace_callback(made_by_another_process)
    schema._await_tables(connection, path)
    connection.close()
    assert len(asked) >= 2


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
    assert [e.seq for e in journal.latest("reading", "window", 2)] == [5, 4]
    assert journal.latest("verdict", "window") == []


def test_between_goes_by_the_time_of_the_record_over_many_chunks(journal: Journal) -> None:
    fill(journal, 2500)
    journal.append(orp(START_S + 0.5), stamp_at(START_S + 9999))
    journal.commit()
    found = list(journal.between("window", START_S, START_S + 2400))
    times = [e.record.time_s for e in found]
    assert times == sorted(times)
    assert len(times) == 2401
    assert times[1] == START_S + 0.5
    assert list(journal.between("trout", START_S, START_S + 2400)) == []


def _service_row(seq: int, kind: str, body: str = '{"what":"probe"}') -> tuple[str, list[Any]]:
    time_ms = round(START_S * 1000)
    return "record", [seq, time_ms, 0, 1, "boot", 0.0, kind, "window", body]


def test_rows_of_a_newer_version_are_skipped_and_counted(path: Path) -> None:
    with Journal.open(path) as journal:
        for _ in range(3):
            journal.append(service(), stamp_at(START_S))
        for _ in range(2):
            fill(journal, 1)
    with Journal.open(path) as journal:
        for query, values in (
            ("INSERT INTO word VALUES (99, 'hologram', ?)", ("word", [99, "hologram"])),
            ("UPDATE record SET kind = 99, crc = ? WHERE seq = 2", _service_row(2, "hologram")),
            (
                """UPDATE record SET body = '{"future":1}', crc = ? WHERE seq = 1""",
                _service_row(1, "service", '{"future":1}'),
            ),
        ):
            journal._db.execute(query, (check_of(*values),))
        block = journal._db.execute("SELECT * FROM block WHERE last_seq = 4").fetchone()
        check = check_of("block", [*block[:3], "window", *block[4:-2], b"x"])
        journal._db.execute("UPDATE block SET body = x'78', crc = ? WHERE last_seq = 4", (check,))
        assert [e.seq for e in journal.entries(limit=1)] == [3]
        assert [e.seq for e in journal.entries(limit=2)] == [3, 5]
        assert [e.seq for e in journal.entries(3)] == [5]
        assert journal.undecodable > 2
        assert journal.damaged == 0


def test_a_record_with_nan_is_refused_in_one_sentence(journal: Journal) -> None:
    bad = Reading(START_S, "window", "orp", float("nan"))
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


def test_the_last_two_snapshots_are_kept_and_older_ones_ever_further_apart(
    journal: Journal,
) -> None:
    """A word of any age has one not much older than itself, and there are few."""
    assert journal.snapshot("window") is None
    for seq in range(10, 5010, 10):
        journal.save_snapshot("window", seq, seq.to_bytes(4, "big"))
        journal.commit()
    assert journal.snapshot("window") == (5000, (5000).to_bytes(4, "big"))
    kept, before = [5000], 5000
    while (found := journal.snapshot("window", before=before)) is not None:
        before = found[0]
        assert found[1] == before.to_bytes(4, "big")
        kept.append(before)
    assert kept[1] == 4990
    assert kept[-1] == 10
    assert len(kept) < 40
    for newer, older in pairwise(kept[2:]):
        assert older >= 5000 - max(1.25 * (5000 - newer), 5000 - newer + 10)
    assert journal.snapshot("trout") is None


def test_meta_keeps_facts(journal: Journal) -> None:
    assert journal.meta("created-by") is None
    journal.set_meta("created-by", "0.1.0")
    journal.set_meta("created-by", "0.2.0")
    assert journal.meta("created-by") == "0.2.0"


def test_what_is_abandoned_is_not_written(path: Path) -> None:
    journal = Journal.open(path)
    journal.append(orp(START_S), stamp_at(START_S))
    journal.abandon()
    with Journal.open(path) as again:
        assert again.entries() == []


def test_what_is_shed_is_not_written_and_the_rest_is(path: Path) -> None:
    with Journal.open(path) as journal:
        for second in range(5):
            journal.append(orp(START_S + second), stamp_at(START_S))
        seq = journal.append(Dose(START_S, "window", 1.0), stamp_at(START_S))
        assert journal.shed((Reading,)) == 5
        journal.commit()
        assert [(e.seq, type(e.record)) for e in journal.entries()] == [(seq, Dose)]


@pytest.mark.parametrize(
    ("folder_mode", "shared"), [(0o2770, True), (0o750, False), (0o770, False)]
)
def test_in_a_folder_that_a_group_shares_the_journal_is_the_groups_too(
    tmp_path: Path, folder_mode: int, shared: bool
) -> None:
    """Else members of the group could read, and not tell of a refill."""
    folder = tmp_path / "state"
    folder.mkdir()
    folder.chmod(folder_mode)
    before = os.umask(0o022)
    try:
        with Journal.open(folder / "j.db") as journal:
            journal.append(service(), stamp_at(START_S))
            journal.commit()
            modes = {file.name: file.stat().st_mode & 0o777 for file in folder.iterdir()}
    finally:
        os.umask(before)
    assert {"j.db", "j.db-wal"} <= set(modes)
    tail = modes.pop("j.db-tail")
    assert tail & 0o040, "the service alone writes it"
    assert all((mode & 0o060 == 0o060) == shared for mode in modes.values()), modes
