"""The newest blocks beside the database: whatever happens to that file, nothing wrong is read."""

import random
import shutil
from pathlib import Path

import pytest

from afterfill.errors import JournalError
from afterfill.journal.store import Journal
from afterfill.journal.tail import PAGE_BYTES, ROOM_BYTES, Tail
from afterfill.records import Service
from journal_samples import START_S, fill, orp, stamp_at

ID = b"journal1"


def tail_of(path: Path) -> Path:
    return path.with_name(f"{path.name}-tail")


def left_by_a_kill(path: Path, commits: int, rows: int = 3) -> None:
    """A journal whose first commit is in the database and the others in its tail."""
    journal = Journal.open(path)
    for number in range(commits):
        fill(journal, rows, START_S + rows * number)
    journal.abandon()


def numbers(path: Path) -> list[int]:
    with Journal.open(path, read_only=True) as reader:
        return [entry.seq for entry in reader.entries(limit=100_000)]


def test_a_kill_leaves_readings_in_the_tail_and_a_clean_end_does_not(path: Path) -> None:
    left_by_a_kill(path, 10)
    content = tail_of(path).read_bytes()
    assert numbers(path) == list(range(1, 31))
    tail_of(path).unlink()
    assert numbers(path) == [1, 2, 3]
    tail_of(path).write_bytes(content)
    with Journal.open(path) as journal:
        assert journal.append(orp(START_S + 99), stamp_at(START_S + 99)) == 31
    tail_of(path).unlink()
    assert numbers(path) == list(range(1, 32))


def test_whatever_a_power_cut_leaves_of_it_whole_commits_are_read(path: Path) -> None:
    left_by_a_kill(path, 40)
    whole, chance = tail_of(path).read_bytes(), random.Random(5)
    for _ in range(60):
        content = bytearray(whole)
        at = chance.randrange(len(content))
        content[at : at + chance.choice([1, 512, 4096])] = b"" if at % 2 else bytes(7)
        tail_of(path).write_bytes(content)
        found = numbers(path)
        first = found[::3]
        assert found == [number + more for number in first for more in range(3)]
        assert first == sorted(set(first))
        assert all(number % 3 == 1 for number in first)
        assert found[:3] == [1, 2, 3]


def test_a_tail_that_was_cut_is_written_on_from_what_is_whole(path: Path) -> None:
    left_by_a_kill(path, 10)
    content = tail_of(path).read_bytes()
    frames = len(content) - PAGE_BYTES
    tail_of(path).write_bytes(content[: PAGE_BYTES + frames // 2])
    kept = numbers(path)
    assert 3 < len(kept) < 30
    with Journal.open(path) as journal:
        assert journal.append(orp(START_S + 500), stamp_at(START_S + 500)) == len(kept) + 1
    assert numbers(path) == [*kept, len(kept) + 1]


def test_the_tail_of_another_journal_is_not_taken_for_ones_own(path: Path) -> None:
    left_by_a_kill(path, 10)
    path.unlink()
    for suffix in ("-wal", "-shm"):
        path.with_name(f"{path.name}{suffix}").unlink(missing_ok=True)
    with Journal.open(path) as journal:
        fill(journal, 3)
    assert numbers(path) == [1, 2, 3]


def test_an_older_copy_put_back_does_not_take_a_newer_tail(path: Path, tmp_path: Path) -> None:
    with Journal.open(path) as journal:
        fill(journal, 3)
    shutil.copy(path, tmp_path / "older")
    left_by_a_kill(path, 5)
    with Journal.open(path) as journal:
        journal.append(Service(START_S, "window", "probe"), stamp_at(START_S))
        journal.commit()
        fill(journal, 3)
        journal.abandon()
    for suffix in ("-wal", "-shm"):
        path.with_name(f"{path.name}{suffix}").unlink(missing_ok=True)
    shutil.copy(tmp_path / "older", path)
    assert numbers(path) == [1, 2, 3]


def test_a_backup_holds_the_tail_too(path: Path, tmp_path: Path) -> None:
    left_by_a_kill(path, 10)
    with Journal.open(path, read_only=True) as reader:
        reader.back_up(tmp_path / "copy.db")
    assert numbers(tmp_path / "copy.db") == list(range(1, 31))


@pytest.mark.parametrize("call", ["pwrite", "fdatasync"])
def test_without_a_tail_that_can_be_written_all_goes_into_the_database(
    path: Path, monkeypatch: pytest.MonkeyPatch, call: str
) -> None:
    def full(*_: object) -> int:
        raise OSError(28, "No space left on device")

    journal = Journal.open(path)
    fill(journal, 3)
    with monkeypatch.context() as disk:
        disk.setattr(f"afterfill.journal.tail.os.{call}", full)
        for number in range(1, 4):
            fill(journal, 3, START_S + number)
    journal.abandon()
    tail_of(path).unlink(missing_ok=True)
    assert numbers(path) == list(range(1, 13))


def test_a_sector_that_cannot_be_read_ends_the_tail(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    left_by_a_kill(path, 3)

    def bad(*_: object) -> bytes:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr("afterfill.journal.tail.os.pread", bad)
    assert numbers(path) == [1, 2, 3]


def test_a_command_takes_the_tail_along(path: Path) -> None:
    journal = Journal.open(path)
    fill(journal, 3)
    fill(journal, 3)
    journal.append(Service(START_S, "window", "probe"), stamp_at(START_S))
    journal.commit()
    journal.abandon()
    tail_of(path).unlink()
    assert numbers(path) == list(range(1, 8))


def test_a_follower_sees_each_commit_once_wherever_it_lies(path: Path) -> None:
    chance, seen = random.Random(3), list[int]()
    with Journal.open(path) as journal, Journal.open(path, read_only=True) as follower:
        for number in range(300):
            fill(journal, chance.randrange(1, 4), START_S + number)
            if chance.random() < 0.1:
                journal.append(Service(START_S, "window", "probe"), stamp_at(START_S))
                journal.commit()
            seen += [e.seq for e in follower.entries(seen[-1] if seen else 0, limit=2)]
        seen += [e.seq for e in follower.entries(seen[-1], limit=10_000)]
        assert seen == list(range(1, journal.last_seq() + 1))


def test_frames_do_not_straddle_a_page_and_end_where_the_room_does(tmp_path: Path) -> None:
    (tmp_path / "j.db").touch()
    tail, reader = Tail(tmp_path / "j.db-tail", ID), Tail(tmp_path / "j.db-tail", ID)
    sizes = [1000, 3000, 3000, 90, 5000, 10]
    frames = [bytes([n]) * size for n, size in enumerate(sizes, 1)]
    assert tail.frames(7) == []
    assert all(tail.append(7, frame, flush=False) for frame in frames)
    content = (tmp_path / "j.db-tail").read_bytes()
    for frame in (f for f in frames if len(f) < PAGE_BYTES):
        begin = content.index(frame)
        assert begin // PAGE_BYTES == (begin + len(frame) - 1) // PAGE_BYTES
    assert reader.frames(7) == frames
    assert reader.frames(8) == []
    assert not tail.append(7, bytes(ROOM_BYTES), flush=False)
    tail.close()
    reader.close()


def test_a_tail_that_cannot_be_read_is_told(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    left_by_a_kill(path, 2)

    def refused(*_: object) -> list[bytes]:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Tail, "frames", refused)
    with (
        Journal.open(path, read_only=True) as reader,
        pytest.raises(JournalError, match=r"newest part, journal\.db-tail, cannot be read"),
    ):
        reader.entries()
