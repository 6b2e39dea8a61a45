"""A journal in any order of appends, commits, takings-over and reopenings is a plain list."""

from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from afterfill.journal import blocks, spans
from afterfill.journal.entry import Entry
from afterfill.journal.store import Journal
from afterfill.record_kinds import KIND_OF
from afterfill.records import Reading, Record, Stamp, Tick
from record_strategies import records, stamps, tanks

# Few moments, so that times meet and lie in the wrong order across commits.
moments_s = st.integers(0, 40).map(lambda n: n / 4)
rough_readings = st.builds(
    Reading,
    moments_s,
    tanks,
    st.sampled_from(["orp", "ph"]),
    st.none() | st.floats(-999, 999).map(lambda value: round(value, 1)),
    st.sampled_from(["", "a", "b"]),
)
bulk = rough_readings | st.builds(Tick, moments_s, tanks)
in_this_boot = st.builds(Stamp, moments_s, st.just(True), st.just("boot"), moments_s)
mixed = st.lists(st.tuples(bulk | records, in_this_boot | stamps), max_size=4)
to_the_tail = st.lists(st.tuples(bulk, in_this_boot), min_size=1, max_size=6)
ends = st.sampled_from(["commit", "commit", "commit lightly", "snapshot", "reopen", "nothing"])
steps = st.lists(st.tuples(to_the_tail | to_the_tail | mixed, ends), max_size=12)
Appended = list[tuple[Record, Stamp]]
# Tanks and a boot that the database knows: what follows of them may go to the tail.
KNOWN: Appended = [
    (Tick(5.0, tank), Stamp(5.0, True, "boot", 5.0)) for tank in ("window", "trout-1", "Ölbecken")
]
kinds_asked = st.none() | st.lists(st.sampled_from(sorted(KIND_OF.values())), max_size=4)


def _done(path: Path, todo: Sequence[tuple[Appended, str]]) -> list[Entry]:
    """Do all of it; what must be found."""
    journal, expected = Journal.open(path), list[Entry]()
    for some, end in [(KNOWN, "commit"), *todo]:
        for record, stamp in some:
            expected.append(Entry(journal.append(record, stamp), stamp, record))
        if end == "reopen":
            journal.close()
            journal = Journal.open(path)
        elif end != "nothing":
            if end == "snapshot":
                journal.save_snapshot("window", journal.last_appended(), b"state")
            journal.commit(flush=end == "commit")
    journal.commit()
    journal.abandon()  # as by a kill: what is in the tail stays there
    return expected


@settings(max_examples=120, deadline=None)
@given(
    todo=steps,
    kinds=kinds_asked,
    tank=st.none() | tanks,
    after=st.integers(0, 30),
    until=st.none() | st.integers(0, 40),
    limit=st.integers(1, 9),
    span=st.tuples(moments_s, moments_s),
)
def test_any_interleaving_is_read_back_as_the_list_it_was(
    tmp_path_factory: pytest.TempPathFactory,
    small_pieces: None,
    todo: list[tuple[Appended, str]],
    kinds: list[str] | None,
    tank: str | None,
    after: int,
    until: int | None,
    limit: int,
    span: tuple[float, float],
) -> None:
    path = tmp_path_factory.mktemp("model") / "journal.db"
    expected = _done(path, todo)

    def wanted(entry: Entry) -> bool:
        kind_fits = kinds is None or KIND_OF[type(entry.record)] in kinds
        return kind_fits and tank in (None, entry.record.tank)

    with Journal.open(path, read_only=True) as journal:
        assert journal.last_seq() == (expected[-1].seq)
        assert journal.entries(limit=10_000) == expected
        last = 10**9 if until is None else until
        some = [e for e in expected if after < e.seq <= last and wanted(e)]
        found = journal.entries(after, until=until, kinds=kinds, tank=tank, limit=limit)
        assert found == some[:limit]
        pieces: list[Entry] = []
        while piece := journal.entries(
            pieces[-1].seq if pieces else after, until=until, kinds=kinds, tank=tank, limit=limit
        ):
            pieces += piece
        assert pieces == some
        for name in ("window", "trout-1", "nobody"):
            low, high = span
            inside = [
                e
                for e in expected
                if e.record.tank == name
                and low <= e.record.time_s < high
                and (kinds is None or KIND_OF[type(e.record)] in kinds)
            ]
            inside.sort(key=lambda e: (e.record.time_s, e.seq))
            assert list(journal.between(name, low, high, kinds=kinds)) == inside
            for kind in ("reading", "tick", "service", "estimate"):
                of_kind = [
                    e
                    for e in reversed(expected)
                    if e.record.tank == name and KIND_OF[type(e.record)] == kind
                ]
                assert journal.latest(kind, name, limit) == of_kind[:limit]
        assert journal.undecodable == 0


@pytest.fixture(scope="module")
def small_pieces() -> Iterator[None]:
    """Spans after a few commits and blocks of few rows, so that short histories have several."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(spans, "_COMMITS", 3)
        patch.setattr(blocks, "_MOST_ROWS", 4)
        yield
