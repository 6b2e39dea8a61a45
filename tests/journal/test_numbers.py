"""Which numbers have no row, asked of journals whose rows were taken away."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from afterfill.journal.contents import Contents
from afterfill.journal.numbers import Gap, gaps
from afterfill.journal.store import Journal
from afterfill.records import Dose, Record, Tick
from journal_samples import START_S, orp, stamp_at

TANKS = ("window", "trout")


def kept(path: Path, commits: list[str], *, in_tail: bool) -> None:
    """A journal of these commits, a letter for each record: a reading of the window's or trout's
    tank, a tick that was dropped before it was written, a dose."""
    made: dict[str, Record] = {
        "w": orp(START_S), "t": orp(START_S, "trout"), "x": Tick(START_S, "window"),
        "d": Dose(START_S, "window", 1.0),
    }  # fmt: skip
    journal = Journal.open(path)
    for commit in commits:
        for letter in commit:
            journal.append(made[letter], stamp_at(START_S))
        journal.shed((Tick,))
        journal.commit(flush=False)
    journal.abandon() if in_tail else journal.close()


def found(path: Path, floor: int, last: int | None = None) -> tuple[list[Gap], set[int]]:
    """The gaps, and all numbers that can be read."""
    with closing(sqlite3.connect(path)) as db:
        contents = Contents(path, db)
        view = contents.view()
        numbers = {entry.seq for entry in contents.entries(0, None, None, None, 10_000)}
        last = view.last_seq if last is None else last
        told = gaps(db, contents.blocks, floor, list(view.tail), last)
        contents.close()
    return told, numbers


def without(path: Path, *statements: str) -> None:
    with closing(sqlite3.connect(path)) as db:
        for statement in statements:
            db.execute(statement)
        db.commit()


@pytest.mark.parametrize("in_tail", [False, True])
@pytest.mark.parametrize(
    ("commits", "floor", "last", "expected"),
    [
        (["www", "d", "ww"], 0, 6, []),
        (["wtw", "dwd", "t"], 0, 7, []),
        (["www"], 0, 5, [Gap(5, 4, 2)]),
        (["wxw", "w"], 0, 4, [Gap(3, 1, 1)]),
        (["wxxdtw", "w"], 0, 7, [Gap(6, 1, 2)]),
        (["xxww"], 0, 4, [Gap(2, 1, 2)]),
        (["wwxx", "d"], 0, 5, [Gap(4, 3, 2)]),
        (["wwxx", "w"], 0, 5, [Gap(4, 3, 2)]),
        (["www", "www"], 1, 6, []),
        (["www", "www"], 3, 6, []),
        (["www", "www"], 6, 6, []),
        (["xwww"], 1, 4, []),
        (["wxwxw"], 2, 5, [Gap(5, 3, 1)]),
        (["wxw", "d"], 3, 4, []),
        ([], 0, 0, []),
        ([], 0, 3, [Gap(3, 1, 3)]),
        (["d", "d", "d"], 1, 4, [Gap(4, 4, 1)]),
    ],
)
def test_where_numbers_are_missing(
    tmp_path: Path,
    commits: list[str],
    floor: int,
    last: int,
    expected: list[Gap],
    *,
    in_tail: bool,
) -> None:
    kept(tmp_path / "j.db", commits, in_tail=in_tail)
    assert found(tmp_path / "j.db", floor, last)[0] == expected


@pytest.mark.parametrize(
    ("taken", "expected"),
    [
        ("DELETE FROM record WHERE seq = 4", [Gap(4, 4, 1)]),
        ("DELETE FROM block WHERE last_seq = 3", [Gap(3, 1, 3)]),
        ("DELETE FROM block WHERE last_seq = 6", [Gap(7, 5, 1)]),
        ("DELETE FROM block WHERE last_seq = 7", [Gap(5, 5, 1), Gap(7, 7, 1)]),
        ("DELETE FROM block", [Gap(3, 1, 3), Gap(7, 5, 3)]),
        ("UPDATE block SET rows = 'x' WHERE last_seq = 3", [Gap(3, 1, 3)]),
        ("UPDATE block SET first_seq = 'x' WHERE last_seq = 3", [Gap(3, 1, 3)]),
        ("UPDATE block SET commit_last = 'x' WHERE last_seq = 3", [Gap(3, 1, 3)]),
    ],
)
def test_rows_that_were_taken_away(tmp_path: Path, taken: str, expected: list[Gap]) -> None:
    kept(tmp_path / "j.db", ["www", "d", "twt", "d"], in_tail=False)
    without(tmp_path / "j.db", taken)
    assert found(tmp_path / "j.db", 0)[0] == expected


def test_of_a_damaged_block_that_lies_across_the_floor_nothing_is_there(tmp_path: Path) -> None:
    kept(tmp_path / "j.db", ["wwww", "d"], in_tail=False)
    without(tmp_path / "j.db", "UPDATE block SET body = x'00'")
    assert found(tmp_path / "j.db", 2)[0] == [Gap(4, 3, 2)]


histories = st.lists(st.text("wtxd", min_size=1, max_size=6), max_size=6)
taken_away = st.lists(st.tuples(st.sampled_from(["record", "block"]), st.integers(1, 30)))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("numbers")


@settings(max_examples=150, deadline=None)
@given(histories, taken_away, st.integers(0, 8), st.integers(0, 3), st.booleans())
def test_as_many_numbers_are_missing_as_cannot_be_read(
    folder: Path,
    commits: list[str],
    taken: list[tuple[str, int]],
    floor: int,
    beyond: int,
    in_tail: bool,
) -> None:
    path = folder / "j.db"
    for file in folder.iterdir():
        file.unlink()
    kept(path, commits, in_tail=in_tail)
    keys = {"record": "seq", "block": "last_seq"}
    without(path, *(f"DELETE FROM {table} WHERE {keys[table]} = {n}" for table, n in taken))
    last = max(found(path, 0)[1], default=0) + beyond
    told, numbers = found(path, floor, last)
    missing = set(range(floor + 1, last + 1)) - numbers
    assert sum(gap.numbers for gap in told) == len(missing)
    assert told == sorted(told)
    for gap in told:
        assert floor < gap.first_seq <= gap.last_seq <= last
        assert len(missing & set(range(gap.first_seq, gap.last_seq + 1))) == gap.numbers > 0
