from collections.abc import Callable
from pathlib import Path

import pytest

from afterfill.errors import JournalDamaged
from afterfill.journal.damage import set_aside_if_damaged
from afterfill.journal.store import Journal
from journal_samples import fill


@pytest.fixture
def kept(path: Path) -> bytes:
    with Journal.open(path) as journal:
        fill(journal, 3000)
    return path.read_bytes()


def _overwritten(content: bytes) -> bytes:
    middle = len(content) // 2
    return content[:middle] + b"\xa5" * 8192 + content[middle + 8192 :]


DAMAGES: dict[str, Callable[[bytes], bytes]] = {
    "overwritten": _overwritten,
    "truncated": lambda content: content[: len(content) // 2],
    "no head": lambda content: b"\0" * 4096 + content[4096:],
    "text": lambda _content: b"time,orp_mv\n" * 1000,
}


@pytest.mark.parametrize("how", DAMAGES)
def test_a_damaged_journal_is_kept_aside_whole(path: Path, kept: bytes, how: str) -> None:
    damaged = DAMAGES[how](kept)
    path.write_bytes(damaged)
    aside = set_aside_if_damaged(path)
    assert aside is not None
    assert aside.name.startswith("journal.db.damaged-")
    assert aside.read_bytes() == damaged
    with Journal.open(path) as journal:
        assert journal.entries() == []


def test_two_damages_in_one_second_are_both_kept(path: Path) -> None:
    names = set()
    for _ in range(2):
        path.write_bytes(b"no database" * 100)
        names.add(set_aside_if_damaged(path))
    assert len(names) == 2
    assert all(name is not None and name.exists() for name in names)


def test_a_sound_journal_and_none_are_left_alone(path: Path, kept: bytes) -> None:
    assert set_aside_if_damaged(path.with_name("absent.db")) is None
    assert set_aside_if_damaged(path) is None
    assert path.read_bytes() == kept


def test_damage_found_while_running_is_told_apart(path: Path, kept: bytes) -> None:
    path.write_bytes(_overwritten(kept))
    with Journal.open(path) as journal, pytest.raises(JournalDamaged, match="is damaged"):
        journal.entries(limit=10_000)
