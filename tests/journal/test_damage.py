import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from afterfill.errors import ConfigError, JournalDamaged
from afterfill.journal.damage import mend_if_damaged, newest_aside
from afterfill.journal.store import Journal
from afterfill.records import Service
from journal_samples import START_S, stamp_at


@pytest.fixture
def kept(path: Path) -> bytes:
    with Journal.open(path) as journal:
        for number in range(3000):  # rare ones, a row each
            journal.append(Service(START_S, "window", "probe"), stamp_at(START_S + number))
    return path.read_bytes()


def _overwritten(content: bytes) -> bytes:
    middle = len(content) // 2
    return content[:middle] + b"\xa5" * 8192 + content[middle + 8192 :]


DAMAGES: dict[str, Callable[[bytes], bytes]] = {
    "overwritten": _overwritten,
    "truncated": lambda content: content[: len(content) // 2],
    "no head": lambda content: b"\0" * 4096 + content[4096:],
    "a head of noise": lambda content: b"\x5a" * 512 + content[512:],
    "all zeros after a crash": lambda content: bytes(len(content)),
    "all ones, as an erased card": lambda content: b"\xff" * len(content),
}
NOTHING_LEFT = {"all zeros after a crash", "all ones, as an erased card"}
FOREIGN: dict[str, Callable[[bytes], bytes]] = {
    "a text": lambda _content: b"time,orp_mv\n" * 1000,
    "a picture": lambda _content: b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR" + bytes(range(256)) * 40,
    "a damaged database of another program": lambda _content: _foreign_database(),
}


def entry_after() -> Service:
    return Service(START_S, "window", "feeding")


def _foreign_database() -> bytes:
    with closing(sqlite3.connect(":memory:")) as db:
        db.execute("CREATE TABLE recipes (name TEXT)")
        db.executemany("INSERT INTO recipes VALUES (?)", [("soup" * 50,)] * 1000)
        whole = db.serialize()
    return _overwritten(whole)[: len(whole) // 2]


@pytest.mark.parametrize("how", DAMAGES)
def test_a_damaged_journal_is_kept_aside_whole(path: Path, kept: bytes, how: str) -> None:
    damaged = DAMAGES[how](kept)
    path.write_bytes(damaged)
    mended = mend_if_damaged(path)
    assert mended is not None
    aside = mended.aside
    assert aside.name.startswith("journal.db.damaged-")
    assert aside.read_bytes() == damaged
    with Journal.open(path) as journal:
        entries = journal.entries(limit=10_000)
        assert (len(entries) > 500) == (how not in NOTHING_LEFT)
        for entry in entries:
            assert entry.record == Service(START_S, "window", "probe")
            assert entry.stamp == stamp_at(START_S + entry.seq - 1)
        assert journal.append(entry_after(), stamp_at(START_S)) > 2000 or not entries
    assert mend_if_damaged(path) is None


@pytest.mark.parametrize("what", FOREIGN)
def test_another_programs_file_is_refused_and_left_as_it_is(path: Path, what: str) -> None:
    theirs = FOREIGN[what](b"")
    path.write_bytes(theirs)
    with pytest.raises(ConfigError, match="but another file; choose another path"):
        mend_if_damaged(path)
    assert path.read_bytes() == theirs
    assert list(path.parent.iterdir()) == [path]


def test_a_log_beside_it_tells_a_journal_whose_every_page_is_noise(path: Path) -> None:
    path.write_bytes(b"\x5a" * 8192)
    Path(f"{path}-wal").write_bytes(b"\x37\x7f\x06\x82" + bytes(100))
    mended = mend_if_damaged(path)
    assert mended is not None
    assert mended.aside.exists()


def test_an_empty_file_becomes_a_journal(path: Path) -> None:
    path.touch()
    assert mend_if_damaged(path) is None
    with Journal.open(path) as journal:
        assert journal.entries() == []


def test_the_newest_of_what_was_kept_aside_is_found(path: Path) -> None:
    assert newest_aside(path) is None
    for day in ("20260301", "20260302"):
        path.with_name(f"{path.name}.damaged-{day}T073000Z").touch()
    path.with_name(f"{path.name}.damaged-20260302T073000Z-wal").touch()
    found = newest_aside(path)
    assert found is not None
    assert found.name == "journal.db.damaged-20260302T073000Z"


def test_two_damages_in_one_second_are_both_kept(path: Path) -> None:
    names = set()
    for _ in range(2):
        path.write_bytes(bytes(1024))
        mended = mend_if_damaged(path)
        assert mended is not None
        names.add(mended.aside)
    assert len(names) == 2
    assert all(name.exists() for name in names)


def test_a_sound_journal_and_none_are_left_alone(path: Path, kept: bytes) -> None:
    assert mend_if_damaged(path.with_name("absent.db")) is None
    assert mend_if_damaged(path) is None
    assert path.read_bytes() == kept


def test_damage_found_while_running_is_told_apart(path: Path, kept: bytes) -> None:
    path.write_bytes(kept[:4096] + b"\xa5" * (len(kept) - 4096))
    with pytest.raises(JournalDamaged, match="is damaged"), Journal.open(path) as journal:
        journal.entries(limit=10_000)
